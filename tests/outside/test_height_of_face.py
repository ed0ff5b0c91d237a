"""What a board's thickness does to its measured area.

Source: similar triangles (any text on the pinhole camera): lengths seen from D shrink as 1/D, areas as 1/D². A face
h nearer than the sheet is seen larger by 1 / (1 - h/D)². For 1.6 mm at 300 mm that is 1.075 %, to first order
2 h/D = 1.067 %.
"""

import numpy as np
import pytest

from calibration.camera import Lens
from calibration.plane import PosedPlane


def test_one_point_six_mm_at_300_mm_is_1_07_percent_of_area() -> None:
    sheet = PosedPlane(Lens(3000.0, 1999.5, 1499.5), np.eye(3), np.array([0.0, 0.0, 300.0]))
    face = sheet.at_height(1.6)
    places = np.array([[1999.5, 1499.5], [200.0, 300.0], [3800.0, 2900.0]])
    excess = sheet.pixel_area_mm2(places) / face.pixel_area_mm2(places) - 1
    assert excess == pytest.approx(1 / (1 - 1.6 / 300) ** 2 - 1, rel=1e-9)
    assert excess == pytest.approx(0.0107, abs=1e-4)


def test_tilt_of_10_degrees_uncorrected_is_1_5_percent_of_area() -> None:
    """cos 10° = 0.9848: a face seen 10° askew from afar covers 1.52 % fewer pixels than one seen square on."""
    tilt = np.radians(10.0)
    turned = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    lens, middle = Lens(3000.0, 0.0, 0.0), np.array([[0.0, 0.0]])
    square_on = PosedPlane(lens, np.eye(3), np.array([0.0, 0.0, 300.0])).pixel_area_mm2(middle)
    askew = PosedPlane(lens, turned, np.array([0.0, 0.0, 300.0])).pixel_area_mm2(middle)
    assert square_on / askew - 1 == pytest.approx(-0.0152, abs=1e-4)
