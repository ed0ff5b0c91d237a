"""A picture made smaller shows what it showed: each pixel the mean of its place."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.photo import shrunk

SIDES = st.integers(1, 300)


@given(SIDES, SIDES, st.floats(0.05, 1.0), st.integers(0, 255))
def test_an_even_picture_stays_even(height: int, width: int, factor: float, level: int) -> None:
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = shrunk(np.full((height, width, 3), level, np.uint8), size)
    assert small.shape == (size[1], size[0], 3)
    assert (small == level).all()


@pytest.mark.parametrize("factor", [0.11, 0.25, 0.31, 0.5, 0.52, 0.58, 0.72, 0.9, 1.0])
@pytest.mark.parametrize("sides", [(600, 800), (601, 799)])
def test_each_pixel_is_the_mean_of_its_place(sides: tuple[int, int], factor: float) -> None:
    """OpenCV's area resampling says what that is: the copy is a little softer at most, and shifted by nothing."""
    rng = np.random.default_rng(1)
    coarse = rng.integers(0, 256, (30, 40, 3)).astype(np.uint8)
    rgb = np.asarray(cv2.resize(coarse, sides[::-1], interpolation=cv2.INTER_CUBIC), np.uint8)
    size = (round(sides[1] * factor), round(sides[0] * factor))
    expected = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA).astype(float)
    off = shrunk(rgb, size) - expected
    assert np.abs(off).mean() < 0.15 * np.abs(np.diff(expected, axis=1)).mean()
    for axis in (0, 1):
        slope = np.gradient(expected, axis=axis)
        assert abs((off * slope).sum() / (slope**2).sum()) < 0.01
