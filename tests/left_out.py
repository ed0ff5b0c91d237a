"""Leaves out tests that the small installation cannot run, and says which; never in CI.

A test file is left out if it, its folder's conftest or a module of the tests that it imports needs a package that is
not installed.
"""

from __future__ import annotations

import ast
import os
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest

_TESTS = Path(__file__).parent
# What our own packages need beyond the small installation.
_NEEDED_BY = {"app": "streamlit", "calibration": "", "grader": ""}


def pytest_ignore_collect(collection_path: Path) -> bool | None:
    """Whether to leave out a test file, or a folder whose conftest cannot be loaded."""
    return True if why_left_out(collection_path) else None


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say which of all tests are left out."""
    places = sorted(p for p in _TESTS.rglob("*") if p.is_dir() or p.match("test_*.py"))
    reasons = {path: why for path in places if (why := why_left_out(path))}
    for reason in sorted(set(reasons.values())):
        names = [name_of(path) for path, why in reasons.items() if why == reason and path.parent not in reasons]
        if names:
            terminalreporter.write_line(f"left out ({reason}): {', '.join(names)}")


def why_left_out(path: Path) -> str:
    """Why a test file or a folder of tests is left out; empty if it is not."""
    module = path / "conftest.py" if path.is_dir() else path
    if os.environ.get("CI") or not module.is_file() or module.suffix != ".py":
        return ""
    missing = ", ".join(sorted(lacking(module)))
    return f"without {missing}" if missing else ""


def name_of(path: Path) -> str:
    """A file's or a folder's path below ``tests``."""
    return path.relative_to(_TESTS).as_posix() if path.is_relative_to(_TESTS) else path.name


@cache
def lacking(module: Path) -> frozenset[str]:
    """Packages that a file, or a file of the tests that it imports, needs at its top and that are not installed."""
    found: set[str] = set()
    for name in _imported(module):
        top = name.partition(".")[0]
        if top == "tests":
            other = _TESTS.parent.joinpath(*name.split(".")).with_suffix(".py")
            found |= lacking(other) if other.is_file() and other != module else set()
        elif (needed := _NEEDED_BY.get(top, top)) and find_spec(needed) is None:
            found.add(needed)
    return frozenset(found)


def _imported(module: Path) -> list[str]:
    tree = ast.parse(module.read_text("utf-8"))
    whole = [alias.name for node in tree.body if isinstance(node, ast.Import) for alias in node.names]
    parts = [node for node in tree.body if isinstance(node, ast.ImportFrom) and node.module]
    return whole + [n for node in parts for n in (node.module, *(f"{node.module}.{a.name}" for a in node.names)) if n]
