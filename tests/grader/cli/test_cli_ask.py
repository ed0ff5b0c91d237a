"""``--ask``: places that may not be gold are shown and asked about; answers are corrections, and training data."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from calibration.errors import UsageError
from grader.cli.app import app
from tests.drawn_boards import box, drawn_pads, union_share
from tests.segmenters import default_segmenter

SHAPE = (300, 400)
SCALE = ("--length", "20 mm", "--from", "10,10", "--to", "170,10")
SURE, PALE = 60 * 40, 0.6 * 50 * 50


# sure of one pad, not of another
DRAWN, PNG = drawn_pads(
    np.clip(union_share([box((120, 120), 60, 40)], SHAPE) + 0.6 * union_share([box((280, 200), 50, 50)], SHAPE), 0, 1)
)


@pytest.fixture(autouse=True)
def drawn() -> Iterator[None]:
    with default_segmenter(lambda: DRAWN):
        yield


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "pads.png"
    path.write_bytes(PNG)
    return path


def ask(photo: Path, answers: str, *more: object) -> tuple[Any, dict[str, Any]]:
    """What the command told, and the measurement that it wrote."""
    at = photo.parent
    arguments = [photo, *SCALE, "--published", "--ask", at / "places.png", "--json", at / "done.json", *more]
    done = CliRunner().invoke(app, ["measure", *map(str, arguments)], input=answers, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done, json.loads((at / "done.json").read_text("utf-8"))


@pytest.mark.parametrize(
    ("answers", "kinds", "share"),
    [
        ("n\n", ["leave_out"], SURE / (SURE + PALE)),
        ("y\n", ["confirm"], 1.0),
        ("\n", [], 1.0),
        ("perhaps\nNo\n", ["leave_out"], SURE / (SURE + PALE)),
    ],
)
def test_an_answer_is_a_correction(photo: Path, answers: str, kinds: list[str], share: float) -> None:
    done, document = ask(photo, answers)
    assert "Is this gold?" in done.output
    assert [c["kind"] for c in document.get("corrections", {}).get("corrections", [])] == kinds if kinds else True
    _, plain = ask(photo, "\n")
    assert document["plated_area_mm2"]["value"] == pytest.approx(share * plain["plated_area_mm2"]["value"], rel=0.02)
    picture = cv2.imread(str(photo.parent / "places.png"))
    assert picture.shape[:2] == SHAPE
    assert (cv2.imread(str(photo)) != picture).any()


def test_what_was_answered_is_not_asked_again(photo: Path) -> None:
    ask(photo, "y\n")
    again, _ = ask(photo, "", "--corrections", photo.parent / "done.json")
    assert "nothing to ask" in " ".join(again.output.split())


def test_answers_become_training_data(photo: Path) -> None:
    path = photo.parent / "training.zip"
    ask(photo, "n\n", "--training", path)
    with zipfile.ZipFile(path) as archive:
        [gold] = [name for name in archive.namelist() if name.endswith("_gold.png")]
        drawn = cv2.imdecode(np.frombuffer(archive.read(gold), np.uint8), cv2.IMREAD_GRAYSCALE)
    assert drawn[120, 120] == 255
    assert drawn[200, 280] == 0


def test_several_photos_are_not_asked_about(photo: Path) -> None:
    other = photo.with_name("other.png")
    other.write_bytes(photo.read_bytes())
    with pytest.raises(UsageError) as refused:
        CliRunner().invoke(
            app, ["measure", str(photo), str(other), "--ask", str(photo.parent / "p.png")], catch_exceptions=False
        )
    assert refused.value.code == "corrections-one-photo"
