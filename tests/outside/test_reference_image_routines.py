"""Our image routines against scikit-image, an independent implementation."""

import numpy as np
import pytest
from skimage import color, draw, measure

from calibration.linear_light import to_linear
from grader.regions.boards import polygon_area


def test_linear_light_is_that_of_iec_61966_2_1() -> None:
    """IEC 61966-2-1 (sRGB), as scikit-image decodes it: for greys, Y of CIE XYZ is the linear value."""
    codes = np.arange(256, dtype=np.uint8)
    greys = np.repeat(codes[:, None], 3, axis=1)
    luminance = color.rgb2xyz(greys[None])[0, :, 1]
    assert to_linear(codes) == pytest.approx(luminance, abs=2e-6)


def test_outline_area_is_that_of_the_pixels_inside() -> None:
    """A drawn polygon's pixels, counted by scikit-image, and its area by our shoelace formula."""
    rng = np.random.default_rng(5)
    for _ in range(20):
        angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
        points = 300 + np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(120, 280, 9)[:, None]
        mask = draw.polygon2mask((600, 600), points)
        counted = measure.regionprops(mask.astype(np.uint8))[0].area
        outline_px = np.hypot(*np.diff(np.vstack([points, points[:1]]), axis=0).T).sum()
        assert polygon_area(points) == pytest.approx(counted, abs=0.5 * outline_px)
