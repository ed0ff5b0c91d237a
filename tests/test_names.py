"""One name stands for one thing: no two modules of the packages define a public class of one name."""

import ast
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[1]
PACKAGES = ("grader", "app", "calibration")


def public_classes(folder: Path) -> dict[str, list[str]]:
    """Modules that define a public class, by its name; classes inside others belong to these."""
    homes = defaultdict(list)
    for path in sorted(folder.rglob("*.py")):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                homes[node.name].append(path.relative_to(folder).as_posix())
    return homes


def shared_names(folders: list[Path]) -> dict[str, list[str]]:
    """Names of classes that several modules define, with these modules."""
    homes = defaultdict(list)
    for folder in folders:
        for name, modules in public_classes(folder).items():
            homes[name] += [f"{folder.name}/{module}" for module in modules]
    return {name: modules for name, modules in homes.items() if len(modules) > 1}


def test_every_public_class_has_a_name_of_its_own() -> None:
    assert shared_names([ROOT / name for name in PACKAGES]) == {}


def test_the_classes_are_found() -> None:
    assert public_classes(ROOT / "grader")["Measurement"] == ["pipeline.py"]


def test_that_check_can_fail(tmp_path: Path) -> None:
    for name, text in {"a/x.py": "class Sheet: ...", "a/in/y.py": "class Sheet: ...\nclass _Own: ...",
                       "b/z.py": "class _Own: ...\nclass Once: ...\nclass Sheet: ..."}.items():  # fmt: skip
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    assert shared_names([tmp_path / "a", tmp_path / "b"]) == {"Sheet": ["a/in/y.py", "a/x.py", "b/z.py"]}
