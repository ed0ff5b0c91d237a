from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tests import left_out

_HERE = Path(__file__).parent


def test_the_small_installation_wants_the_versions_that_the_project_wants() -> None:
    project = tomllib.loads((_HERE.parent / "pyproject.toml").read_text("utf-8"))["project"]
    known = {*project["dependencies"], *project["optional-dependencies"]["test"]}
    wanted = [line for line in (_HERE / "light.txt").read_text("utf-8").splitlines() if not line.startswith("#")]
    assert wanted
    assert set(wanted) <= known


@pytest.fixture
def fresh(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    left_out.lacking.cache_clear()
    monkeypatch.delenv("CI", raising=False)
    return monkeypatch


def test_a_file_is_left_out_if_it_needs_what_is_not_there_itself_or_by_another(
    fresh: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    fresh.setattr(left_out, "_TESTS", tmp_path / "tests")
    (tmp_path / "tests").mkdir()
    own, by_other, fine = (tmp_path / "tests" / name for name in ("test_own.py", "test_other.py", "test_fine.py"))
    own.write_text("import numpy\nimport no_such_package.deep\n")
    by_other.write_text("from tests.test_own import thing\n")
    fine.write_text("import numpy\n\ndef late():\n    import no_such_package\n")
    assert left_out.why_left_out(own) == "without no_such_package"
    assert left_out.why_left_out(by_other) == "without no_such_package"
    assert left_out.why_left_out(fine) == ""
    assert left_out.why_left_out(tmp_path) == ""


def test_nothing_is_left_out_in_ci(fresh: pytest.MonkeyPatch, tmp_path: Path) -> None:
    own = tmp_path / "test_own.py"
    own.write_text("import no_such_package\n")
    assert left_out.why_left_out(own)
    fresh.setenv("CI", "true")
    assert left_out.why_left_out(own) == ""
