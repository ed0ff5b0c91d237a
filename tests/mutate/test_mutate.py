"""The mutator itself: a change that no test notices is reported, one that a test notices is not."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

MODULE = '''
from functools import cache

LIMIT = 10


def capped(value: float) -> float:
    """At most the limit."""
    return min(value, LIMIT)


def area(width: float, height: float) -> float:
    return width * height


@cache
def factor() -> float:
    return 3.0


def wait(n: int) -> int:
    while n > 0:
        n -= 1
    return n


def larger(a: float, b: float) -> float:
    return a if a > b else b


def nobody_calls_it(x: float) -> float:
    return x + 1
'''
GOOD = """
import pytest
from shop import boxes


def test_area():
    assert boxes.area(3, 4) == 12


def test_factor():
    assert boxes.factor() == 3.0


def test_factor_again():
    assert boxes.factor() * boxes.area(1, 2) == 6


def test_wait():
    assert boxes.wait(3) == 0


def test_larger():
    assert boxes.larger(1, 2) == boxes.larger(2, 1) == 2
"""
BAD = """
from shop import boxes


def test_capped():
    assert boxes.capped(3)  # says nothing of the limit
"""
EQUIVALENT = """
[[equivalent]]
why = "of two equal numbers either is the larger"
changes = ["shop/boxes.py | larger | a > b -> a >= b"]

[[equivalent]]
why = "a mistake: it is noticed"
changes = ["shop/boxes.py | area | width * height -> width / height"]
"""


WRONG = "Listed as changing no result, but a test noticed:"


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """What is said of every change of a small shop."""
    root = tmp_path_factory.mktemp("shop")
    (root / "shop").mkdir()
    (root / "tests").mkdir()
    (root / "shop/boxes.py").write_text(MODULE, "utf-8")
    (root / "shop/__init__.py").write_text("", "utf-8")
    (root / "tests/test_good.py").write_text(GOOD, "utf-8")
    (root / "tests/test_bad.py").write_text(BAD, "utf-8")
    (root / "pyproject.toml").write_text('[tool.pytest.ini_options]\npythonpath = ["."]\n', "utf-8")
    (root / "equivalent.toml").write_text(EQUIVALENT, "utf-8")
    (root / "scope.toml").write_text(
        'modules = ["shop/*.py"]\ntests = ["tests/*.py"]\nequivalents = "equivalent.toml"\n', "utf-8"
    )
    command = [
        sys.executable,
        "-m",
        "tests.mutate",
        "--root",
        str(root),
        "--scope",
        "scope.toml",
        "--all",
        "--verbose",
    ]
    said = subprocess.run(
        [*command, "--all", "--verbose", "--limit", "1", "2"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert said.returncode == 1, said.stderr  # a change is listed wrongly
    assert (root / "shop/boxes.py").read_text("utf-8") == MODULE
    return said.stdout.splitlines()


def judged(report: list[str], change: str) -> str:
    (line,) = [r for r in report if r.startswith("[") and r.endswith(change)]
    return line.partition("] ")[2].partition(": shop")[0]


def test_a_change_that_a_test_notices_is_killed_by_it(report: list[str]) -> None:
    assert judged(report, "width * height -> width / height").startswith("killed by tests/test_good.py::test_")
    assert judged(report, "a > b -> a <= b") == "killed by tests/test_good.py::test_larger"
    # what is cached is reached by each test that needs it, not by the first alone
    assert judged(report, "return 3.0 -> return 3.3000000000000003").startswith("killed by tests/test_good.py")


def test_a_change_that_no_test_notices_survives(report: list[str]) -> None:
    assert judged(report, "min(value, LIMIT) -> max(value, LIMIT)") == "survived"
    assert judged(report, "LIMIT = 10 -> LIMIT = 11") == "survived"
    assert judged(report, "x + 1 -> x - 1") == "unreached"
    left = report[report.index("Survivors:") + 1 : report.index(WRONG) - 1]
    assert len(left) == 4
    assert "shop/boxes.py:9 min(value, LIMIT) -> max(value, LIMIT)" in left
    assert "shop/boxes.py:32 x + 1 -> x - 1 (no test reaches it)" in left


def test_a_change_that_never_ends_is_stopped(report: list[str]) -> None:
    assert judged(report, "n -= 1 -> n += 1") == "timeout"


def test_what_changes_no_result_is_not_counted_and_must_not_be_noticed(report: list[str]) -> None:
    (total,) = [r for r in report if " mutants that change a result die" in r]
    assert "2 change none" in total
    assert judged(report, "a > b -> a >= b") == "survived"
    assert not any("a > b -> a >= b" in line for line in report[report.index("Survivors:") :])
    wrong = report[report.index(WRONG) + 1 :]
    assert [line.partition(", by ")[0] for line in wrong] == ["shop/boxes.py:13 width * height -> width / height"]
