"""Points lie where they are said to lie: in the reduced picture with rulers, and under the loupe."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.report.marking import loupe_jpeg, ruled_jpeg


def decoded(data: bytes) -> NDArray[np.uint8]:
    return np.asarray(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR_RGB), np.uint8)


def spotted(x: int, y: int) -> NDArray[np.uint8]:
    """A black picture with one white pixel."""
    rgb = np.zeros((300, 400, 3), np.uint8)
    rgb[y, x] = 255
    return rgb


def test_the_loupe_shows_the_pixel_of_its_point_in_the_middle() -> None:
    for x, y in ((200, 150), (0, 0), (399, 299)):
        shown = decoded(loupe_jpeg(spotted(x, y), (float(x), float(y)), around_px=10, zoom=8))
        assert shown.shape == (21 * 8, 21 * 8, 3)
        bright = np.argwhere(shown.min(axis=2) > 200)
        assert np.abs(bright.mean(axis=0) - (10 * 8 + 3.5)).max() < 1


def test_hairlines_cross_at_the_point() -> None:
    shown = decoded(loupe_jpeg(np.zeros((300, 400, 3), np.uint8), (200.5, 149.5), around_px=10, zoom=8))
    lit = shown.max(axis=2) > 100
    # x: pixel 200 is drawn at columns 80 to 87, so 200.5 is the edge at 88; y: row 149 is the first, so the same
    assert lit.sum(axis=0).argmax() == 88
    assert lit.sum(axis=1).argmax() == 88


def test_the_ruled_picture_holds_the_reduced_photo_and_its_marks() -> None:
    rgb = np.zeros((1500, 2000, 3), np.uint8)
    bare, marked = (decoded(ruled_jpeg(rgb, points, max_side_px=1000)) for points in ([], [(1000.0, 800.0)]))
    left, top = bare.shape[1] - 1000, bare.shape[0] - 750
    assert min(left, top) > 0
    changed = np.argwhere(np.abs(marked.astype(int) - bare).max(axis=2) > 150)
    middle = np.median(changed, axis=0) - (top, left)
    assert np.abs(middle - (400, 500)).max() < 15
