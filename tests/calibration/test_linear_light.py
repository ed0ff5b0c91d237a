"""Linear light of sRGB codes."""

import numpy as np
import pytest

from calibration.linear_light import to_linear


def test_linear_light_at_the_ends_and_at_the_standards_middle() -> None:
    assert to_linear(np.array([0, 255], np.uint8)).tolist() == [0.0, 1.0]
    # code 119 is the one nearest 18.4 % (IEC 61966-2-1 by hand: ((119/255 + 0.055)/1.055)^2.4)
    assert to_linear(np.array([119], np.uint8))[0] == pytest.approx(0.18447, abs=1e-5)


def test_linear_light_keeps_shape_and_order() -> None:
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    linear = to_linear(codes)
    assert linear.shape == (16, 16)
    assert linear.dtype == np.float32
    assert np.all(np.diff(linear.ravel()) > 0)
