"""The command on drawn cards whose gold is known: for all tests of ``grader measure``."""

import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from calibration.scale import Scale
from grader.cli.app import main
from grader.coverage import Coverage
from grader.coverage.error import quality_notices
from grader.photo import Photo
from tests.drawn_boards import GREEN_MASK, TABLE, KnownCoverage, box, contact_row, paint, polygon_share, union_share
from tests.segmenters import default_segmenter

WritePhoto = Callable[..., Path]
SHAPE = (320, 480)
GOLD = (0.80, 0.60, 0.25)
CARD = box((240.0, 150.0), 400.0, 220.0)
ROW = union_share([c * 10 for c in contact_row((8.0, 23.3), 32, 1.0, (0.7, 4.3))], SHAPE)
BOARD = polygon_share(CARD, SHAPE)


class Drawn:
    """A segmenter that knows the drawn card and finds nothing on other pictures."""

    name = "drawn"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        nothing = np.zeros(photo.rgb.shape[:2])
        share, board = (ROW, BOARD) if photo.rgb.shape[:2] == SHAPE else (nothing, nothing)
        found = KnownCoverage(share, board > 0.5, name=self.name).segment(photo, scale)
        return replace(found, notices=quality_notices(photo.rgb, found.share, scale))


@pytest.fixture(autouse=True)
def known_coverage(request: pytest.FixtureRequest) -> Iterator[None]:
    if "real_segmenter" in request.fixturenames:
        yield
        return
    with default_segmenter(Drawn):
        yield


@pytest.fixture
def real_segmenter() -> None:
    """Asked for by tests that leave the default segmenter in its place."""


@pytest.fixture(autouse=True)
def no_stored_check_bar(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("grader.cli.photo_options.print_check_path", lambda: tmp_path / "none" / "print-check.json")


@pytest.fixture
def write_photo() -> WritePhoto:
    """Writes a photo of the drawn card with a row of contacts, 10 px per mm."""

    def write(path: Path, seed: int = 0) -> Path:
        rgb = paint([(np.ones(SHAPE), TABLE), (BOARD, GREEN_MASK), (ROW, GOLD)], blur_px=0.6, noise=2.0, seed=seed)
        assert cv2.imwrite(str(path), rgb[..., ::-1])
        return path

    return write


@pytest.fixture
def photo(tmp_path: Path, write_photo: WritePhoto) -> Path:
    return write_photo(tmp_path / "card.png")


@pytest.fixture
def results(tmp_path: Path) -> Path:
    folder = tmp_path / "results"
    folder.mkdir()
    return folder


class Answer:
    """What the command line gave back: exit code, and its two streams as running text."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.raw = code, out
        self.out, self.err = " ".join(out.split()), " ".join(err.split())


@pytest.fixture
def grader(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Any:
    """Runs the entry point itself, as the installed command does."""

    def call(*arguments: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["grader", *map(str, arguments)])
        with pytest.raises(SystemExit) as left:
            main()
        streams = capsys.readouterr()
        assert "Traceback" not in streams.out + streams.err
        code = left.value.code
        return Answer(code if isinstance(code, int) else 0, streams.out, streams.err)

    return call
