"""``grader measure`` on one photo, as a person and as a script use it."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from rich.color import ColorSystem

from calibration.target import TargetDescription
from grader.cli import output
from tests.drawn_sheets import View, picture, sheet_paint

SHAPE = (320, 480)
SCALE = ("--length", "40 mm", "--from", "40,40", "--to", "440,40")


# --- measured: exit 0


def test_a_person_gets_areas_gold_and_what_to_know(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, *SCALE)
    assert answer.code == 0
    for words in ("card.png", "480 × 320 px", "known length", "hard gold", "mm²", "mg", "Visible plating only"):
        assert words in answer.out
    assert answer.err == ""


def test_json_coverage_and_overlay_are_written(photo: Path, results: Path, grader: Any, real_segmenter: None) -> None:
    outputs = [results / "m.json", results / "coverage.png", results / "overlay.png"]
    answer = grader("measure", photo, *SCALE, "--json", outputs[0], "--coverage", outputs[1], "--overlay", outputs[2])
    assert answer.code == 0
    assert sorted(results.iterdir()) == sorted(outputs)
    document = json.loads(outputs[0].read_text("utf-8"))
    assert document["scale"]["method"] == "length"
    # 32 contacts of 0.7 × 4.3 mm are 96.3 mm²; the range has to hold them
    assert document["plated_area_mm2"]["low"] < 96.3 < document["plated_area_mm2"]["high"]
    coverage = cv2.imread(str(outputs[1]), cv2.IMREAD_UNCHANGED)
    assert coverage.dtype == np.uint8
    assert coverage.shape == SHAPE
    assert coverage.mean() / 255 == pytest.approx(document["plated_share_of_frame"], rel=1e-6)
    assert cv2.imread(str(outputs[2])).shape == (*SHAPE, 3)


def test_a_dash_prints_the_document_and_nothing_else(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, *SCALE, "--json", "-")
    assert answer.code == 0
    assert json.loads(answer.raw)["photo"] == "card.png"
    assert answer.raw.count("\n") == 1


def test_without_scale_is_measured_as_shares(photo: Path, grader: Any) -> None:
    answer = grader("measure", photo, "--no-scale", "--json", "-")
    document = json.loads(answer.raw)
    assert answer.code == 0
    assert document["scale"]["method"] == "none"
    assert document["plated_area_mm2"] is None
    assert 0 < document["plated_share_of_frame"] < 1


def test_a_rectangle(photo: Path, grader: Any) -> None:
    corners = ("40,40", "440,40", "440,260", "40,260")
    answer = grader("measure", photo, "--rectangle", "40 x 22 mm", "--corners", *corners, "--json", "-")
    assert answer.code == 0
    scale = json.loads(answer.raw)["scale"]
    assert scale["known"] == "rectangle"
    assert scale["px_per_mm"] == pytest.approx(10, rel=0.02)


@pytest.mark.parametrize("typed", ["1.0 mm", "0.1 cm", "39.37 mil"])
def test_a_pitch_in_any_unit_of_length(photo: Path, grader: Any, typed: str) -> None:
    answer = grader("measure", photo, "--pitch", typed, "--json", "-")
    assert answer.code == 0
    scale = json.loads(answer.raw)["scale"]
    assert scale["method"] == "pitch"
    assert scale["px_per_mm"] == pytest.approx(10, rel=0.01)


def test_a_described_target(tmp_path: Path, grader: Any) -> None:
    target = TargetDescription("DICT_5X5_100", 7, 5, 8.0, 6.0, origin_mm=(4.0, 4.0), sheet_mm=(64.0, 48.0))
    seen = View(640, 480, 520.0, 5.0, 30.0, 0.0, 80.0, (36.0, 26.0))
    path = tmp_path / "sheet.png"
    cv2.imwrite(str(path), picture(seen, sheet_paint(target), fine=3))
    described = tmp_path / "target.json"
    described.write_text(
        json.dumps(
            {
                "dictionary": "DICT_5X5_100",
                "squares_x": 7,
                "squares_y": 5,
                "square_mm": 8.0,
                "marker_mm": 6.0,
                "charuco_origin_in_sheet_mm": [4.0, 4.0],
                "grey_patches": [],
            }
        )
    )
    answer = grader("measure", path, "--target", described, "--board-thickness", "1.6 mm", "--json", "-")
    assert answer.code == 0
    document = json.loads(answer.raw)
    assert document["scale"]["method"] == "target"
    assert document["scale"]["px_per_mm"] == pytest.approx(520 / (80 - 1.6), rel=0.03)
    assert document["plated_area_mm2"]["value"] == 0
    assert "no-gold-found" in {w["code"] for w in document["warnings"]}


def test_awkward_names_are_shown_as_they_are(tmp_path: Path, grader: Any, write_photo: Callable[..., Path]) -> None:
    path = write_photo(tmp_path / "[red]x[bold] ü.png")
    assert "[red]x[bold] ü.png" in grader("measure", path, *SCALE).out
    refused = grader("measure", path)
    assert refused.code == 3
    assert "[red]x[bold] ü.png" in refused.err


# --- refused: exit 3


def test_no_target_is_refused_and_the_document_still_says_why(photo: Path, results: Path, grader: Any) -> None:
    answer = grader("measure", photo, "--json", results / "m.json", "--overlay", results / "o.png")
    assert answer.code == 3
    document = json.loads((results / "m.json").read_text("utf-8"))
    assert document["refused"]["code"] == "no-scale"
    assert document["plated_area_mm2"] is None
    assert (results / "o.png").exists()
    assert "grader target" in answer.err


def test_a_pitch_without_a_row_is_refused(tmp_path: Path, grader: Any) -> None:
    path = tmp_path / "bare.png"
    cv2.imwrite(str(path), np.full((200, 300, 3), 120, np.uint8))
    answer = grader("measure", path, "--pitch", "1.27 mm")
    assert answer.code == 3
    assert "contacts" in answer.err


# --- pipes, terminals, and on to the valuation


def test_a_pipe_gets_plain_text_with_tabs(photo: Path, grader: Any) -> None:
    raw = grader("measure", photo, *SCALE).raw
    assert "\x1b" not in raw
    assert any(line.startswith("hard gold\t") for line in raw.splitlines())


@pytest.mark.parametrize("no_colour", [False, True])
def test_a_terminal_gets_a_table_and_colour_unless_none_is_wanted(
    photo: Path, grader: Any, monkeypatch: pytest.MonkeyPatch, no_colour: bool
) -> None:
    for console in (output.out, output.err):
        monkeypatch.setattr(console, "_force_terminal", True)
        monkeypatch.setattr(console, "_color_system", ColorSystem.STANDARD)
        monkeypatch.setattr(console, "no_color", no_colour)
    raw = grader("measure", photo, "--no-scale").raw
    assert ("\x1b[33m" in raw) is not no_colour
    assert "\t" not in grader("measure", photo, *SCALE).raw


def test_what_was_measured_can_be_valued(photo: Path, results: Path, grader: Any) -> None:
    grader("measure", photo, *SCALE, "--json", results / "m.json")
    answer = grader("value", results / "m.json", "--spot", "2650 USD/ozt", "--spot-date", "today")
    assert answer.code == 0
    assert "USD" in answer.out
