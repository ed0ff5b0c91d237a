"""``grader demo`` and the samples behind it, with photos of our own drawing."""

import json
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.errors import DataFileError, UsageError
from calibration.scale import Scale
from grader.cli.app import main
from grader.coverage import Coverage
from grader.photo import Photo
from grader.samples import load_demo, samples_folder
from grader.scale_choice import Automatic, ByLength
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share
from tests.segmenters import default_segmenter

SHAPE = (320, 480)
ROW = union_share([c * 10 for c in contact_row((8.0, 23.3), 32, 1.0, (0.7, 4.3))], SHAPE)
BOARD = polygon_share(box((240.0, 150.0), 400.0, 220.0), SHAPE) > 0.5
STORY = """
story = "A drawn card, ten times."
spot = "2650 USD/ozt"
asking = "5 USD"
costs = ["shipping = 1..2..3 USD"]

[[photo]]
file = "card.png"
title = "A drawn card"
length = "40 mm"
from = [40, 40]
to = [440, 40]
board_thickness = "1.6 mm"
part = { name = "cards", boards = 1, count = 10 }

[[photo]]
file = "other.png"
title = "Another that shows nothing"
"""


class Drawn:
    """A segmenter that knows the drawn card."""

    name = "truth"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        return KnownCoverage(ROW, BOARD).segment(photo, scale)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "samples"
    place.mkdir()
    (place / "demo.toml").write_text(STORY, "utf-8")
    for level, name in ((120, "card.png"), (121, "other.png")):
        cv2.imwrite(str(place / name), np.full((*SHAPE, 3), level, np.uint8))
    return place


def run(monkeypatch: pytest.MonkeyPatch, folder: Path, output: Path) -> int:
    monkeypatch.setattr("grader.cli.demo.load_demo", lambda: load_demo(folder))
    monkeypatch.setattr(sys, "argv", ["grader", "demo", "--output", str(output)])
    with pytest.raises(SystemExit) as left, default_segmenter(Drawn):
        main()
    return int(left.value.code or 0)


def test_measures_values_and_says_where(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    output = tmp_path / "out"
    assert run(monkeypatch, folder, output) == 0
    assert {p.name for p in output.iterdir()} == {
        "card.json", "card-overlay.png", "other.json", "other-overlay.png", "offer.json", "report.html",
    }  # fmt: skip
    assert "Highest price worth paying" in (output / "report.html").read_text("utf-8")
    document = json.loads((output / "card.json").read_text("utf-8"))
    assert document["plated_area_mm2"]["low"] < 96.3 < document["plated_area_mm2"]["high"]
    told = " ".join(capsys.readouterr().out.split())
    for words in ("A drawn card", "What to pay", "USD", "examples, not today's", str(output), "grader page"):
        assert words in told


def test_a_place_that_cannot_be_is_one_error(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken"
    taken.write_text("a file")
    assert run(monkeypatch, folder, taken) == 2
    assert "--output" in capsys.readouterr().err
    assert taken.read_text() == "a file"


def test_the_story_of_a_folder(folder: Path) -> None:
    demo = load_demo(folder)
    assert [s.path.name for s in demo.samples] == ["card.png", "other.png"]
    assert demo.samples[0].request.scale == ByLength(40.0, (40.0, 40.0), (440.0, 40.0))
    assert demo.samples[0].request.board_thickness_mm == pytest.approx(1.6)
    assert demo.samples[1].request.scale == Automatic()
    assert [s.for_sale for s in demo.samples] == [True, False]
    (part,) = demo.parts
    assert (part.name, part.count, part.photos[0].boards) == ("cards", "10", 1)


@pytest.mark.parametrize(
    "wrong",
    [
        "not toml [",
        "spot = 1",
        STORY.replace("to = [440, 40]", ""),
        STORY.replace("to = [440, 40]", "to = 3"),
        STORY.replace("boards = 1", 'boards = "many"'),
        STORY.replace("[440, 40]", '["a", "b"]'),
        None,
    ],
)
def test_a_story_that_cannot_be_read_is_one_error(folder: Path, wrong: str | None) -> None:
    if wrong is None:
        (folder / "demo.toml").unlink()
    else:
        (folder / "demo.toml").write_text(wrong, "utf-8")
    with pytest.raises(DataFileError):
        load_demo(folder)


def test_a_length_without_a_unit_in_the_story_is_an_error_of_ours(folder: Path) -> None:
    (folder / "demo.toml").write_text(STORY.replace("40 mm", "40"), "utf-8")
    with pytest.raises(UsageError):
        load_demo(folder)


def test_the_samples_that_come_with_the_program_are_whole() -> None:
    demo = load_demo()
    assert samples_folder() == demo.samples[0].path.parent
    assert all(s.path.is_file() and s.title for s in demo.samples)
    assert any(s.for_sale for s in demo.samples)
    assert all(int(p.count) >= sum(s.boards for s in p.photos) for p in demo.parts)
