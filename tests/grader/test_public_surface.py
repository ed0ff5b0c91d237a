"""What users and other programs see: commands and their help, entry points, and what importing pulls in."""

import ast
import importlib
import pkgutil
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import typer

import calibration
import grader
from grader.cli.app import app

ROOT = Path(__file__).parents[2]


def commands(group: Any = None, path: tuple[str, ...] = ("grader",)) -> dict[tuple[str, ...], Any]:
    """Every command and group of the command line by its words."""
    node = typer.main.get_command(app) if group is None else group
    found = {path: node}
    for name, child in getattr(node, "commands", {}).items():
        found |= commands(child, (*path, name))
    return found


COMMANDS = commands()
LEAVES = {path: node for path, node in COMMANDS.items() if not hasattr(node, "commands")}


def words(path: tuple[str, ...]) -> str:
    return " ".join(path)


def test_the_commands_of_the_contract_are_there() -> None:
    assert {words(p) for p in COMMANDS} >= {
        "grader demo", "grader target", "grader measure", "grader value", "grader log list", "grader log show",
        "grader log export", "grader page",
    }  # fmt: skip


@pytest.mark.parametrize("path", COMMANDS, ids=words)
def test_every_command_says_what_it_does(path: tuple[str, ...]) -> None:
    first = COMMANDS[path].help.strip().splitlines()[0]
    assert len(first) > 20
    assert first.endswith(".")


@pytest.mark.parametrize("path", LEAVES, ids=words)
def test_every_command_has_an_example_that_its_own_options_accept(path: tuple[str, ...]) -> None:
    examples = [
        line.split(":", 1)[1] for line in LEAVES[path].help.splitlines() if line.strip().startswith("Example:")
    ]
    assert examples
    for example in examples:
        typed = shlex.split(example)
        assert tuple(typed[: len(path)]) == path
        LEAVES[path].make_context(path[-1], typed[len(path) :])


@pytest.mark.parametrize("path", LEAVES, ids=words)
def test_every_option_says_what_it_is_for(path: tuple[str, ...]) -> None:
    silent = [p.name for p in LEAVES[path].params if not (getattr(p, "help", None) or "").strip()]
    assert silent == []


def python(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments], cwd=ROOT, capture_output=True, text=True, timeout=60, check=False
    )


def loaded(module: str, of: str) -> set[str]:
    """Which of some modules importing one brings along."""
    done = python("-c", f"import sys, {module}; print(*set({of.split()!r}) & set(sys.modules))")
    assert done.returncode == 0, done.stderr
    return set(done.stdout.split())


def test_the_module_is_the_command() -> None:
    done = python("-m", "grader", "--help")
    assert done.returncode == 0
    assert done.stderr == ""
    for command in ("demo", "measure", "value", "target", "log", "page"):
        assert command in done.stdout


def test_a_wrong_option_of_the_module_is_exit_2() -> None:
    assert python("-m", "grader", "measure", "--no-such-thing").returncode == 2


@pytest.mark.parametrize(
    ("module", "kept_out"),
    [
        ("grader", "numpy cv2 sqlalchemy pydantic pint calibration streamlit typer rich"),
        ("grader.api", "streamlit typer rich sqlalchemy reportlab altair pandas"),
        ("grader.pipeline", "streamlit typer rich sqlalchemy reportlab pint matplotlib pandas"),
        ("grader.report", "streamlit typer rich sqlalchemy reportlab"),
        ("grader.valuation", "streamlit typer rich sqlalchemy reportlab"),
        ("grader.cli.app", "streamlit reportlab"),
        ("calibration.from_target", "streamlit typer rich sqlalchemy reportlab grader app"),
    ],
)
def test_computation_can_be_imported_without_page_command_line_or_database(module: str, kept_out: str) -> None:
    assert loaded(module, kept_out) == set()


def test_a_public_name_is_loaded_when_it_is_used() -> None:
    lines = (
        "import sys, grader",
        "assert set(grader.__all__) <= set(dir(grader))",
        "assert 'grader.api' not in sys.modules",
        "from grader import measure",
        "assert grader.measure is measure is sys.modules['grader.api'].measure",
        "assert not {'sqlalchemy', 'streamlit', 'altair', 'pandas'} & set(sys.modules)",
        "assert not hasattr(grader, 'no_such_name')",
    )
    done = python("-c", "\n".join(lines))
    assert done.returncode == 0, done.stderr


def test_that_check_can_fail() -> None:
    assert loaded("grader.cli.app", "typer rich streamlit") == {"typer", "rich"}


def modules(package: Any) -> list[str]:
    names = [m.name for m in pkgutil.walk_packages(package.__path__, package.__name__ + ".")]
    return [n for n in names if ".training" not in n and not n.endswith("__main__")]


@pytest.mark.parametrize("package", [grader, calibration], ids=lambda p: p.__name__)
def test_what_packages_offer_is_there(package: Any) -> None:
    for name in modules(package):
        module = importlib.import_module(name)
        offered = getattr(module, "__all__", ())
        assert [n for n in offered if not hasattr(module, n)] == [], name
        assert len(set(offered)) == len(offered), name


@pytest.mark.parametrize("folder", ["grader", "calibration", "app"])
def test_no_module_takes_private_names_from_another(folder: str) -> None:
    private = []
    for path in (ROOT / folder).rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in {"grader", "calibration"}:
                names = [a.name for a in node.names if a.name != "__version__"]
                private += [f"{path.name}: {name}" for name in names if name.startswith("_")]
    assert private == []
