"""``--corrections``: what was corrected on the page is measured, cut and graded the same on the command line."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from calibration.errors import DataFileError, GraderError, UsageError
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


# --- cutting and grading


STRIP = (20, 40, 200, 65)
LEFT, RIGHT = ([(x, 42 + 2.0 * i, x + 6, 43.2 + 2.0 * i) for i in range(11)] for x in (20.6, 193.4))
WIPED_RIGHT = {"kind": "paint_out", "path_px": [[982, 190], [982, 335]], "radius_px": 30}
PRICE = ("--spot", "2650 USD/ozt", "--spot-date", "2026-11-20")


@pytest.fixture
def strip(draw: Callable[..., Path]) -> Path:
    """A strip with gold at both ends."""
    return draw("strip.png", [STRIP], [*LEFT, *RIGHT])


def told(command: str, *arguments: object) -> dict[str, Any]:
    words = [command, *map(str, arguments), *SCALE, *(PRICE if command == "grade" else ()), "--json", "-"]
    done = CliRunner().invoke(app, words, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return dict(json.loads(done.stdout))


def kept_mg(plan: dict[str, Any]) -> list[float]:
    return [p["gold_mg"]["value"] for p in plan["boards"][0]["pieces"] if p["kept"]]


def test_gold_painted_out_is_not_cut_for(strip: Path, tmp_path: Path) -> None:
    sha256 = hashlib.sha256(strip.read_bytes()).hexdigest()
    as_found = told("cut", strip)
    corrected = told("cut", strip, "--corrections", saved(tmp_path, WIPED_RIGHT, sha256=sha256))
    assert len(kept_mg(as_found)) == 2
    assert len(kept_mg(corrected)) == 1
    assert sum(kept_mg(corrected)) == pytest.approx(sum(kept_mg(as_found)) / 2, rel=0.1)


def test_gold_painted_in_is_kept(draw: Callable[..., Path], tmp_path: Path) -> None:
    half = draw("half.png", [STRIP], LEFT)
    stroke = {"kind": "paint_in", "path_px": [[982, 210], [982, 310]], "radius_px": 12, "finish": "hard_gold"}
    assert len(kept_mg(told("cut", half))) == 1
    assert len(kept_mg(told("cut", half, "--corrections", saved(tmp_path, stroke)))) == 2


def test_a_grade_follows_what_was_corrected(strip: Path, tmp_path: Path) -> None:
    as_found, corrected = (
        told("grade", strip, *more)["boards"][0] for more in ((), ("--corrections", saved(tmp_path, WIPED_RIGHT)))
    )
    gold = [board["figures"]["gold_mg"]["value"] for board in (as_found, corrected)]
    assert gold[1] == pytest.approx(gold[0] / 2, rel=0.1)
    assert corrected["cuts"] < as_found["cuts"]
    assert corrected["figures"]["mass_g"]["value"] < as_found["figures"]["mass_g"]["value"]


def test_corrections_of_the_front_leave_the_back_as_it_is(draw: Callable[..., Path], tmp_path: Path) -> None:
    front, back = draw("front.png", [STRIP], [*LEFT, *RIGHT]), draw("back.png", [STRIP], LEFT)
    faces = (front, "--back", back, "--turned", "upwards")
    made = saved(tmp_path, WIPED_RIGHT, sha256=hashlib.sha256(front.read_bytes()).hexdigest())
    as_found, corrected = kept_mg(told("cut", *faces)), kept_mg(told("cut", *faces, "--corrections", made))
    assert sum(corrected) == pytest.approx(sum(as_found) * 2 / 3, rel=0.1)


@pytest.mark.parametrize("command", ["cut", "grade"])
def test_a_correction_that_meets_nothing_is_told_beside_the_data(strip: Path, tmp_path: Path, command: str) -> None:
    missed = saved(tmp_path, {"kind": "leave_out", "at_px": [5, 5]})
    words = [command, str(strip), *SCALE, *(PRICE if command == "grade" else ()), "--corrections", str(missed)]
    done = CliRunner().invoke(app, [*words, "--json", "-"], catch_exceptions=False)
    assert "1 of the corrections" in " ".join(done.stderr.split())
    assert json.loads(done.stdout) == told(command, strip)


@pytest.mark.parametrize("command", ["cut", "grade"])
@pytest.mark.parametrize("code", ["corrections-one-photo", "corrections-other-photo", "corrections-unreadable"])
def test_corrections_that_fit_no_photo_are_wrong_use(
    strip: Path, photo: Path, tmp_path: Path, command: str, code: str
) -> None:
    made = saved(tmp_path, WIPED_RIGHT, sha256="cd" * 32)
    photos = [strip, photo] if code == "corrections-one-photo" else [strip]
    named = tmp_path / "none.json" if code == "corrections-unreadable" else made
    words = [command, *map(str, photos), *SCALE, *(PRICE if command == "grade" else ()), "--corrections", str(named)]
    done = CliRunner().invoke(app, words)
    assert isinstance(done.exception, GraderError)
    assert (done.exception.code, done.exception.exit_code) == (code, 2)
    assert not done.stdout


def test_beside_measurements_alone_corrections_have_no_photo(strip: Path, tmp_path: Path) -> None:
    measured = tmp_path / "measured.json"
    made = saved(tmp_path, WIPED_RIGHT)
    assert run(strip, *SCALE, "--corrections", made, "--json", measured, catch=False).exit_code == 0
    done = CliRunner().invoke(app, ["grade", str(measured), *PRICE, "--corrections", str(made)])
    assert isinstance(done.exception, UsageError)
    assert done.exception.code == "corrections-one-photo"
