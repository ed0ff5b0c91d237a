"""Drawn boards whose gold is read off their colours: for commands that measure photos and go on from there."""

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.model import ProductModel, Term
from grader.photo import Photo
from tests.segmenters import default_segmenter

PX_PER_MM = 5.0
TABLE, MASK, GOLD = (120, 120, 125), (30, 90, 50), (190, 150, 70)
Box = tuple[float, float, float, float]
Draw = Callable[..., Path]


class ByColour:
    """Coverage read off the drawn colours, exactly."""

    name = "drawn"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        gold = (photo.rgb == GOLD).all(axis=2)
        board = gold | (photo.rgb == MASK).all(axis=2)
        return Coverage(gold.astype(np.uint8) * np.uint8(255), board, self.name, ())


@pytest.fixture
def draw(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Draw]:
    """Draws a photo of boards and gold, boxes (x0, y0, x1, y1) in mm, 5 px per mm; it is then measured exactly."""
    monkeypatch.setattr("grader.cli.photo_options.print_check_path", lambda: tmp_path / "none" / "print-check.json")
    monkeypatch.setattr("grader.cli.learned.log_path", lambda: tmp_path / "none" / "log.sqlite")

    def drawn(
        name: str, boards: Sequence[Box], gold: Sequence[Box], size_mm: tuple[float, float] = (150, 260)
    ) -> Path:
        picture = np.full((round(size_mm[0] * PX_PER_MM), round(size_mm[1] * PX_PER_MM), 3), TABLE, np.uint8)
        for boxes, colour in ((boards, MASK), (gold, GOLD)):
            for box in boxes:
                x0, y0, x1, y1 = (round(v * PX_PER_MM) for v in box)
                picture[y0:y1, x0:x1] = colour
        path = tmp_path / name
        assert cv2.imwrite(str(path), picture[..., ::-1])
        return path

    with default_segmenter(ByColour):
        yield drawn


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A measurement of about 2 g of gold."""
    inputs = {
        "thickness:hard_gold": Input(
            "thickness", "thickness", Distribution("lognormal", (1.0, 0.4)), "test", of=("hard_gold",)
        ),
        "scale:a": Input("scale", "scale", Distribution("normal", (1.0, 0.02)), "test", of=("a",)),
    }
    model = ProductModel((Term(2000.0, tuple(inputs)),), inputs)
    document: dict[str, Any] = {
        "schema": 1,
        "photo": "a.jpg",
        "sha256": "ab" * 32,
        "scale": {"method": "target"},
        "model": {"gold_mg": model.as_json(), "area_mm2": {}},
        "warnings": [
            {"code": "tilt-large", "message": "The camera looked from 30° off.", "advice": "Hold it level."}
        ],
    }
    path = tmp_path / "a.json"
    path.write_text(json.dumps(document), "utf-8")
    return path
