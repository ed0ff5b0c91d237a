"""One name stands for one thing: no two modules of the packages define a public class of one name.

A type's name, as in ``Row = dict[str, str]``, counts too where another module has a class of that name."""

import ast
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("grader", "app", "calibration")


def named_types(path: Path) -> Iterator[tuple[str, bool]]:
    """Public names of a module's classes and of what it calls types, and whether each is a class."""
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.ClassDef):
            names = [node.name]
        elif isinstance(node, ast.Assign):
            names = [n.id for n in node.targets if isinstance(n, ast.Name) and not n.id.isupper()]
        else:
            names = []
        yield from ((n, isinstance(node, ast.ClassDef)) for n in names if n[0].isupper())


def shared_names(folders: Sequence[Path]) -> dict[str, list[str]]:
    """Names of classes that other modules give to a class or type of theirs, with all these modules."""
    homes, classes = defaultdict(list), set()
    for path in (p for folder in folders for p in sorted(folder.rglob("*.py"))):
        for name, is_class in named_types(path):
            homes[name].append(path.name)
            classes |= {name} if is_class else set()
    return {name: modules for name, modules in homes.items() if len(modules) > 1 and name in classes}


def test_every_public_class_has_a_name_of_its_own() -> None:
    assert shared_names([ROOT / name for name in PACKAGES]) == {}


def test_classes_and_types_are_found() -> None:
    assert set(named_types(ROOT / "grader/pipeline.py")) == {
        ("PipelineStep", False), ("StepProgress", False), ("Measurement", True),
    }  # fmt: skip


def test_that_check_can_fail(tmp_path: Path) -> None:
    texts = {
        "x.py": "class Sheet: ...\nclass Row: ...\nPoint = tuple[int, int]",
        "in/y.py": "class Sheet: ...\nclass _Own: ...\nPoint = tuple[int, int]",
        "z.py": "class _Own: ...\nclass Once: ...\nRow = dict[str, str]\nONCE = 1",
    }
    for name, text in texts.items():
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_text(text)
    assert shared_names([tmp_path]) == {"Sheet": ["y.py", "x.py"], "Row": ["x.py", "z.py"]}
