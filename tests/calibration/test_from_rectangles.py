"""Scale from rectangles anywhere in a plane: made with a known camera, and recovered."""

import math

import cv2
import numpy as np
import pytest

from calibration.camera import camera_prior
from calibration.errors import ScaleError
from calibration.from_rectangles import SeenRectangle, scale_from_rectangles
from calibration.plane import PosedPlane
from calibration.view import View

SHAPE = (1200, 1600, 3)


def plane(tilt_x: float, tilt_y: float, distance: float) -> PosedPlane:
    lens = camera_prior(SHAPE).lens
    return PosedPlane(lens, cv2.Rodrigues(np.array([tilt_x, tilt_y, 0.0]))[0], np.array([0.0, 0.0, distance]))


def seen(true: PosedPlane, sides: tuple[float, float], at: tuple[float, float], turn: float) -> SeenRectangle:
    w, h = sides
    corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    c, s = math.cos(turn), math.sin(turn)
    return SeenRectangle(sides, true.to_px(corners @ np.array([[c, s], [-s, c]]) + np.array(at)), 0.006, 1.0)


@pytest.mark.parametrize(("tilt_x", "tilt_y"), [(0.0, 0.0), (0.3, 0.0), (-0.15, 0.25), (0.0, -0.35)])
def test_several_boards_tell_the_scale_all_over_a_tilted_photo(tilt_x: float, tilt_y: float) -> None:
    true = plane(tilt_x, tilt_y, 400.0)
    boards = [
        seen(true, (133.35, 30.0), (-60.0, -70.0), 0.2),
        seen(true, (110.0, 62.0), (50.0, 60.0), 1.1),
        seen(true, (60.0, 45.0), (80.0, -40.0), 2.0),
    ]
    scale = scale_from_rectangles(View(SHAPE), boards)
    for board in boards:
        told = scale.plane.pixel_area_mm2(board.corners_px).mean()
        assert told == pytest.approx(true.pixel_area_mm2(board.corners_px).mean(), rel=0.02)
    assert scale.method == "rectangle"


def test_a_board_that_was_matched_wrongly_hardly_moves_the_scale() -> None:
    true = plane(0.2, 0.1, 400.0)
    boards = [
        seen(true, (133.35, 30.0), (-60.0, -70.0), 0.2),
        seen(true, (110.0, 62.0), (50.0, 60.0), 1.1),
        seen(true, (120.0, 45.0), (-70.0, 60.0), 2.0),
    ]
    wrong = SeenRectangle((70.0, 50.0), seen(true, (60.0, 45.0), (80.0, -40.0), 2.0).corners_px, 0.006, 1.0)
    scale = scale_from_rectangles(View(SHAPE), [*boards, wrong])
    told = scale.plane.pixel_area_mm2(boards[1].corners_px).mean()
    assert told == pytest.approx(true.pixel_area_mm2(boards[1].corners_px).mean(), rel=0.05)


def test_sizes_that_no_view_has_are_refused() -> None:
    true = plane(0.0, 0.0, 400.0)
    first = seen(true, (133.35, 30.0), (-60.0, -70.0), 0.2)
    other = seen(true, (110.0, 62.0), (50.0, 60.0), 1.1)
    with pytest.raises(ScaleError) as told:
        scale_from_rectangles(View(SHAPE), [first, SeenRectangle((40.0, 150.0), other.corners_px, 0.006, 1.0)])
    assert told.value.code == "rectangles-contradict"
