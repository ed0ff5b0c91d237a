"""Every small change of a module that a test should notice.

One change each: an operator, a constant, a comparison, a call, a branch. Texts are left alone (messages are read by
people, not computed with), and so are annotations, docstrings and whatever stands in a ``raise``.
"""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

_BINARY: dict[type, type] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}
# of an order the nearest other and the opposite
_COMPARE: dict[type, tuple[type, ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_RENAMED = {
    "min": "max",
    "max": "min",
    "minimum": "maximum",
    "maximum": "minimum",
    "argmin": "argmax",
    "argmax": "argmin",
    "any": "all",
    "all": "any",
    "sum": "max",
    "mean": "sum",
    "median": "mean",
    "floor": "ceil",
    "ceil": "floor",
}
_LEFT_OUT = frozenset({"abs", "sqrt", "exp", "log", "log1p", "sorted", "reversed", "round", "sort", "cumsum"})


@dataclass(frozen=True)
class Mutant:
    """One change.

    Attributes:
        line: where it stands.
        lines: first and last line of the statement (of its head, where it has a body).
        at_import: whether the line runs when the module is imported, so that no single test reaches it.
        where: name of the function or class round it, dotted; empty at the top.
        old: the code that changes.
        new: what it changes into.
        nth: counts changes that read alike in one place, from 0.
        apply: changes the tree.
        undo: changes it back.
    """

    line: int
    lines: tuple[int, int]
    at_import: bool
    where: str
    old: str
    new: str
    nth: int
    apply: Callable[[], None] = field(repr=False, compare=False)
    undo: Callable[[], None] = field(repr=False, compare=False)


@dataclass(frozen=True)
class _Place:
    """Where a node stands: what is shown of it, and what replaces it."""

    parent: ast.AST
    name: str
    index: int | None
    shown: ast.AST
    statement: ast.stmt
    where: str
    at_import: bool

    def put(self, node: ast.AST | None) -> None:
        if self.index is None:
            setattr(self.parent, self.name, node)
        else:
            getattr(self.parent, self.name)[self.index] = node

    def now(self) -> ast.AST:
        found = getattr(self.parent, self.name)
        return found if self.index is None else found[self.index]


def mutants(tree: ast.Module) -> Iterator[Mutant]:
    """All of them, in the order of the file. They share the tree: undo one before the next is applied."""
    seen: Counter[tuple[str, str, str]] = Counter()
    for node, place in _walk(tree):
        for changed in _changes(node):
            old = _text(changed.shown or place.shown)
            apply, undo = changed.how(place, node)
            apply()
            new = _text(changed.shown or (place.now() if place.shown is node else place.shown))
            undo()
            key = place.where, old, new
            yield Mutant(
                getattr(node, "lineno", place.statement.lineno),
                _head(place.statement),
                place.at_import,
                *key,
                seen[key],
                apply,
                undo,
            )
            seen[key] += 1


@dataclass(frozen=True)
class _Change:
    """A change of a node: another node in its place, or another value of one of its fields."""

    node: ast.AST | None = None
    attribute: str = ""
    index: int | None = None
    value: object = None
    shown: ast.AST | None = None

    def how(self, place: _Place, node: ast.AST) -> tuple[Callable[[], None], Callable[[], None]]:
        if self.node is not None:
            other = ast.fix_missing_locations(ast.copy_location(self.node, node))
            return (lambda: place.put(other)), (lambda: place.put(node))
        if self.index is not None:
            row, at = getattr(node, self.attribute), self.index
            before = row[at]
            return (lambda: row.__setitem__(at, self.value)), (lambda: row.__setitem__(at, before))
        known = getattr(node, self.attribute)
        return (lambda: setattr(node, self.attribute, self.value)), (lambda: setattr(node, self.attribute, known))


def _changes(node: ast.AST) -> Iterator[_Change]:
    match node:
        case ast.Constant(value=value):
            yield from _constants(value)
        case ast.Call():
            yield from _calls(node)
        case ast.If(test=test) | ast.While(test=test) | ast.IfExp(test=test) if not _negated_anyway(test):
            yield _Change(attribute="test", value=_negated(test), shown=node if isinstance(node, ast.IfExp) else None)
        case ast.comprehension(ifs=ifs):
            for n, test in enumerate(ifs):
                if not _negated_anyway(test):
                    yield _Change(attribute="ifs", index=n, value=_negated(test))
        case ast.Expr(value=ast.Call()):
            yield _Change(node=ast.Pass())
        case ast.Break():
            yield _Change(node=ast.Continue())
        case ast.Continue():
            yield _Change(node=ast.Break())
        case _:
            yield from _operators(node)


def _operators(node: ast.AST) -> Iterator[_Change]:
    match node:
        case ast.BinOp(op=op) | ast.AugAssign(op=op) if type(op) in _BINARY:
            yield _Change(attribute="op", value=_BINARY[type(op)](), shown=node)
        case ast.Compare(ops=ops):
            for n, op in enumerate(ops):
                for other in _COMPARE[type(op)]:
                    yield _Change(attribute="ops", index=n, value=other(), shown=node)
        case ast.BoolOp(op=op):
            yield _Change(attribute="op", value=ast.Or() if isinstance(op, ast.And) else ast.And(), shown=node)
        case ast.UnaryOp(op=ast.USub() | ast.Not(), operand=operand):
            yield _Change(node=operand)


def _constants(value: object) -> Iterator[_Change]:
    if isinstance(value, bool):
        yield _Change(node=ast.Constant(not value))
    elif isinstance(value, int):
        yield _Change(node=ast.Constant(value + 1))
    elif isinstance(value, float):
        yield _Change(node=ast.Constant(value * 1.1 if value else 0.1))


def _negated_anyway(test: ast.expr) -> bool:
    """Whether another change of the test turns it round already."""
    if isinstance(test, ast.Compare):
        return len(test.ops) == 1
    return isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)


def _negated(test: ast.expr) -> ast.expr:
    return ast.fix_missing_locations(ast.copy_location(ast.UnaryOp(ast.Not(), test), test))


def _calls(node: ast.Call) -> Iterator[_Change]:
    match node.func:
        case ast.Name(id=name):
            renamed: ast.expr = ast.Name(_RENAMED.get(name, ""), ast.Load())
        case ast.Attribute(value=value, attr=name):
            renamed = ast.Attribute(value, _RENAMED.get(name, ""), ast.Load())
        case _:
            return
    if name in _RENAMED:
        yield _Change(attribute="func", value=ast.fix_missing_locations(ast.copy_location(renamed, node)), shown=node)
    # np.sum and x.sum have a mean as well as a greatest value
    if name == "sum" and isinstance(node.func, ast.Attribute):
        mean = ast.copy_location(ast.Attribute(node.func.value, "mean", ast.Load()), node)
        yield _Change(attribute="func", value=ast.fix_missing_locations(mean), shown=node)
    if name in _LEFT_OUT and node.args:
        yield _Change(node=node.args[0])


_SKIPPED_FIELDS = frozenset({"annotation", "returns", "type_params", "format_spec", "type_comment"})


def _walk(tree: ast.Module) -> Iterator[tuple[ast.AST, _Place]]:
    if tree.body:
        yield from _inside(tree, tree, tree.body[0], "", at_import=True)


def _inside(
    node: ast.AST, shown: ast.AST, statement: ast.stmt, where: str, *, at_import: bool
) -> Iterator[tuple[ast.AST, _Place]]:
    for name, value in ast.iter_fields(node):
        if name in _SKIPPED_FIELDS:
            continue
        several = isinstance(value, list)
        for n, child in enumerate(value if several else [value]):
            if not isinstance(child, ast.AST) or _skipped(child):
                continue
            own = child if isinstance(child, ast.stmt) else statement
            inside, later = where, at_import
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) and name == "body":
                later = False
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                inside = f"{where}.{child.name}".lstrip(".")
            # a constant alone says little: show what it stands in
            around = shown if isinstance(child, ast.Constant) else child
            yield child, _Place(node, name, n if several else None, around, own, inside, later)
            yield from _inside(child, _round(child, own), own, inside, at_import=later)


def _round(node: ast.AST, statement: ast.stmt) -> ast.AST:
    """What is shown of constants that stand right in a node."""
    if isinstance(node, ast.expr | ast.keyword) or (isinstance(node, ast.stmt) and not hasattr(node, "body")):
        return node
    return statement


def _skipped(node: ast.AST) -> bool:
    if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert | ast.Import | ast.ImportFrom):
        return True
    if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
        return True
    # an alias of types, and the list of public names
    if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
        return node.targets[0].id == "__all__" or _is_type(node.value)
    return False


def _is_type(value: ast.expr) -> bool:
    head = value.value if isinstance(value, ast.Subscript) else value
    return isinstance(value, ast.Subscript) and isinstance(head, ast.Name) and head.id[:1].isupper()


def _head(statement: ast.stmt) -> tuple[int, int]:
    body = getattr(statement, "body", None)
    if body:
        return statement.lineno, max(statement.lineno, body[0].lineno - 1)
    return statement.lineno, statement.end_lineno or statement.lineno


def _text(node: ast.AST) -> str:
    match node:
        case ast.If(test=test):
            return f"if {ast.unparse(test)}"
        case ast.While(test=test):
            return f"while {ast.unparse(test)}"
        case ast.For(target=target, iter=over):
            return f"for {ast.unparse(target)} in {ast.unparse(over)}"
        case ast.FunctionDef(name=name, args=args):
            return f"def {name}({ast.unparse(args)})"
        case ast.ClassDef(name=name):
            return f"class {name}"
        case ast.With(items=items):
            return f"with {', '.join(ast.unparse(i) for i in items)}"
        case ast.arguments() | ast.comprehension() | ast.keyword():
            return ast.unparse(node).strip()
    return ast.unparse(node)
