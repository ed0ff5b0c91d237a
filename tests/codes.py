"""Every code that the program gives an error or a warning, read from its source."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("calibration", "grader", "app")

# What a class makes of a code.
KINDS = {
    "UsageError": "usage", "UnitError": "usage", "KeywordError": "usage", "DataFileError": "usage",
    "FileKind": "usage", "PhotoError": "photo", "RefusedError": "refused", "ScaleError": "refused",
    "LogError": "log", "UnforeseenError": "defect",
    "NoticeDefinition": "warning", "Doubt": "question",
}  # fmt: skip
_QUESTIONS = "grader/learn/question_words.py"  # its definitions are asked about, before anything is kept

# Codes that are worked out, by place and by how they are written there.
WORKED_OUT = {
    ("grader/batch/plan.py", "code"): ("no-mass", "no-gold", "no-plated-area"),
    ("grader/cut/rules.py", "code"): ("vessel-invalid", "longest-piece-invalid"),
    ("grader/grade/candidates.py", "NO_GOLD"): ("no-gold-to-keep",),
    ("grader/log/names.py", "f'{kind}-ambiguous'"): ("lot-ambiguous", "batch-ambiguous"),
    ("grader/log/names.py", "f'{kind}-exists'"): ("lot-exists", "batch-exists"),
    ("grader/log/sound.py", "code"): ("log-moved", "log-read-only", "log-disk-full", "log-busy", "log-damaged"),
    ("grader/units/quantities.py", "f'value-{named}'"): ("value-negative", "value-zero"),
}
# Codes that several parts give: looked at one by one, each means the same in all of them.
SHARED = frozenset({
    "cannot-write", "copies-invalid", "currencies-differ", "currency-unknown", "cut-invalid", "cut-without-photo",
    "date-unreadable",
    "file-invalid",
    "log-on-server", "lot-twice", "lot-unknown", "measurement-invalid", "measurements-none", "money-negative",
    "no-gold-to-keep", "other-face-unknown", "photo-missing", "photo-name-twice", "photo-twice", "photo-unreadable",
    "point-invalid", "price-not-positive", "quantity-unreadable", "share-out-of-range", "unit-wrong-kind",
    "vessel-invalid", "weighed-outlines",
    # words of the command line and of Python for one and the same
    "boards-invalid", "coin-missing", "corners-missing", "currency-ambiguous", "length-missing",
    "parts-and-options", "points-missing", "rectangle-missing", "scale-twice",
})  # fmt: skip
_TAKEN_OVER = (".code", "['code']", "['code'])")  # ends of what another error or warning has already


@dataclass(frozen=True)
class Site:
    """A place that gives a code.

    Attributes:
        where: path and line.
        kind: one of ``KINDS``' values.
        code: as it is given.
        remedy: that the front ends' words are looked up by.
        advice: in words that fit everywhere, ``…`` for what is filled in; None where they are another's.
        values: names of what the front ends may fill their words in with.
    """

    where: str
    kind: str
    code: str
    remedy: str
    advice: str | None
    values: frozenset[str]

    @property
    def part(self) -> str:
        """The part of the program that the place is in, such as ``grader/log``."""
        folder = self.where.split("/")
        return "/".join(folder[:2]) if folder[0] != "calibration" and len(folder) > 2 else folder[0]


@cache
def trees() -> dict[str, ast.Module]:
    """The source of every module of the program, by path."""
    found = {}
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            found[path.relative_to(ROOT).as_posix()] = ast.parse(path.read_text("utf-8"))
    return found


@cache
def sites() -> tuple[Site, ...]:
    """Every place that gives a code."""
    return tuple(site for path, tree in trees().items() for site in _sites_in(path, tree))


def _sites_in(path: str, tree: ast.Module) -> Iterator[Site]:
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = ast.unparse(node.func)
        if name not in KINDS:
            continue
        given = {k.arg: k.value for k in node.keywords if k.arg is not None}
        kind = "question" if path == _QUESTIONS else KINDS[name]
        where = f"{path}:{node.lineno}"
        said = _advice(tree, given.get("advice") or given.get("fix") or node.args[2])
        for code in _codes(path, given.get("code") or node.args[0]):
            if name == "FileKind":
                yield Site(where, kind, f"{code}-unreadable", f"{code}-unreadable", "Check the name.", frozenset())
                yield Site(where, kind, f"{code}-invalid", f"{code}-invalid", said, frozenset())
            else:
                yield Site(where, kind, code, _remedy(given) or code, said, _values(given))


def _remedy(given: dict[str, ast.expr]) -> str:
    named = given.get("remedy")
    return str(named.value) if isinstance(named, ast.Constant) else ""


def _values(given: dict[str, ast.expr]) -> frozenset[str]:
    values = given.get("values")
    keys = values.keys if isinstance(values, ast.Dict) else []
    return frozenset(str(k.value) for k in keys if isinstance(k, ast.Constant))


def _advice(tree: ast.Module, node: ast.expr) -> str | None:
    """An advice's text, ``…`` for what is filled in; of a name that the module gives a text, that text."""
    if isinstance(node, ast.Name):
        texts = [e.value for e in tree.body if isinstance(e, ast.Assign) and ast.unparse(e.targets[0]) == node.id]
        return _advice(tree, texts[0]) if texts else None
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "…" for part in node.values)
    return str(node.value) if isinstance(node, ast.Constant) else None


def _codes(path: str, node: ast.expr) -> tuple[str, ...]:
    if isinstance(node, ast.Constant):
        return (str(node.value),)
    written = ast.unparse(node)
    if written.endswith(_TAKEN_OVER) or path == "calibration/reading.py":
        return ()
    return WORKED_OUT[path, written]
