"""Areas of the boards on the sample photos against their truth."""

import json
from typing import Any

import cv2
import numpy as np
import pytest

from grader.photo import load_photo
from grader.pipeline import measure
from grader.samples import samples_folder

TRUTH: dict[str, dict[str, Any]] = json.loads((samples_folder() / "truth.json").read_text("utf-8"))


@pytest.mark.parametrize(
    ("name", "most"),
    [("memory-modules", 0.05), ("expansion-card", 0.03), ("strip-boards", 0.05), ("breakout-pads", 0.06)],
)
def test_areas_of_boards(name: str, most: float) -> None:
    boards = measure(load_photo(samples_folder() / f"{name}.jpg")).regions.boards
    assert len(boards) == len(TRUTH[name]["boards"])
    off = []
    for true in TRUTH[name]["boards"]:
        x, y = np.mean(true["outline_px"], axis=0)
        (own,) = (
            b
            for b in boards
            if cv2.pointPolygonTest(b.outline_px.astype(np.float32).reshape(-1, 1, 2), (float(x), float(y)), False)
            > 0
        )
        off.append(own.area / true["area_mm2"] - 1)
    assert max(map(abs, off)) < most, off
