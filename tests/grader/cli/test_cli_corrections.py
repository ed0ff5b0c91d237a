"""``grader measure --corrections``: what was corrected on the page is measured the same on the command line."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.errors import DataFileError, UsageError
from grader.cli.app import app

PX_PER_MM = 5.0
SCALE = ("--length", "100 mm", "--from", "0,0", "--to", "500,0")
GOLD = [(40, 40, 60, 50), (100, 40, 130, 60)]  # mm: 200 and 600 mm²
INSIDE_SECOND = [115 * PX_PER_MM, 50 * PX_PER_MM]


@pytest.fixture
def photo(draw: Callable[..., Path]) -> Path:
    return draw("boards.png", [(20, 20, 150, 90)], GOLD)


def run(*arguments: object, catch: bool = True) -> Any:
    return CliRunner().invoke(app, ["measure", *map(str, arguments), "--published"], catch_exceptions=catch)


def document(*arguments: object) -> dict[str, Any]:
    done = run(*arguments, "--json", "-", catch=False)
    assert done.exit_code == 0
    return dict(json.loads(done.stdout))


def saved(folder: Path, *items: dict[str, Any], sha256: str = "") -> Path:
    path = folder / "corrections.json"
    path.write_text(json.dumps({"schema": 1, "sha256": sha256, "corrections": list(items)}))
    return path


def test_saved_corrections_are_applied_and_said(photo: Path, tmp_path: Path) -> None:
    sha256 = hashlib.sha256(photo.read_bytes()).hexdigest()
    made = saved(tmp_path, {"kind": "leave_out", "at_px": INSIDE_SECOND}, sha256=sha256)
    plain, corrected = document(photo, *SCALE), document(photo, *SCALE, "--corrections", made)
    ratio = corrected["plated_area_mm2"]["value"] / plain["plated_area_mm2"]["value"]
    assert ratio == pytest.approx(200 / 800, rel=0.01)
    assert corrected["corrections"]["gold_mg"]["change"]["value"] < 0
    told = run(photo, *SCALE, "--corrections", made, catch=False).stdout
    assert "1 correction by hand" in " ".join(told.split())


def test_a_measurement_carries_its_corrections_to_the_next(photo: Path, tmp_path: Path) -> None:
    stroke = {"kind": "paint_in", "path_px": [[150, 350], [300, 350]], "radius_px": 9, "finish": "hard_gold"}
    first = tmp_path / "first.json"
    assert run(photo, *SCALE, "--corrections", saved(tmp_path, stroke), "--json", first, catch=False).exit_code == 0
    again = document(photo, *SCALE, "--corrections", first)
    assert again == json.loads(first.read_text())


def test_corrections_of_another_photo_are_refused(photo: Path, tmp_path: Path) -> None:
    made = saved(tmp_path, {"kind": "leave_out", "at_px": INSIDE_SECOND}, sha256="cd" * 32)
    assert isinstance(run(photo, *SCALE, "--corrections", made).exception, UsageError)


@pytest.mark.parametrize("text", ["", "{}", '{"schema": 1, "corrections": [{"kind": "wipe"}]}'])
def test_a_file_without_corrections_is_refused(photo: Path, tmp_path: Path, text: str) -> None:
    path = tmp_path / "wrong.json"
    path.write_text(text)
    failed = run(photo, *SCALE, "--corrections", path).exception
    assert isinstance(failed, DataFileError)
    assert failed.code == "corrections-invalid"


def test_a_missing_file_is_named(photo: Path, tmp_path: Path) -> None:
    failed = run(photo, *SCALE, "--corrections", tmp_path / "none.json").exception
    assert isinstance(failed, DataFileError)
    assert "none.json" in failed.message


def test_corrections_belong_to_one_photo(photo: Path, tmp_path: Path, draw: Callable[..., Path]) -> None:
    other = draw("more.png", [(20, 20, 150, 90)], GOLD[:1])
    failed = run(photo, other, *SCALE, "--corrections", saved(tmp_path)).exception
    assert isinstance(failed, UsageError)
    assert failed.code == "corrections-one-photo"
