"""Bumps of an outline and corners that it lacks, where the photo shows the board's sides along them."""

import cv2
import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.regions import Board
from grader.regions.boards import find_boards
from tests.drawn_boards import box

K = 6.0  # px per mm
SCALE = Scale("length", UniformPlane(K), K, ())
SHAPE = (480, 900)
TABLE, GREEN, EDGE = (150, 148, 146), (30, 92, 52), (120, 112, 80)
LENGTH, WIDTH = 110.0, 40.0
BOARD = box((70.0, 40.0), LENGTH, WIDTH)
LEFT, TOP = 70.0 - LENGTH / 2, 40.0 - WIDTH / 2


def drawn(image: np.ndarray, corners_mm: np.ndarray, value: tuple[int, int, int] | int) -> None:
    cv2.fillPoly(image, [np.round(corners_mm * K * 16).astype(np.int32)], value, cv2.LINE_8, 4)


def photo(*boards: np.ndarray) -> np.ndarray:
    rgb = np.full((*SHAPE, 3), TABLE, np.uint8)
    for corners in boards:
        drawn(rgb, corners, EDGE)
        middle = corners.mean(axis=0)
        drawn(rgb, middle + (corners - middle) * (1 - 0.6 / np.abs(corners - middle).max(axis=0)), GREEN)
    noise = np.random.default_rng(1).normal(0, 3, rgb.shape)
    return np.clip(cv2.GaussianBlur(rgb, (0, 0), 0.8) + noise, 0, 255).astype(np.uint8)


def found(rgb: np.ndarray, more: list[np.ndarray], less: list[np.ndarray]) -> Board:
    """The board as outlined where the map has more and less than the photo shows."""
    mask = np.zeros(SHAPE, np.uint8)
    for corners, value in [(BOARD, 1), *((m, 1) for m in more), *((m, 0) for m in less)]:
        drawn(mask, corners, value)
    [board] = find_boards(mask > 0, SCALE, mask > 0, rgb)
    return board


def holds(board: Board, place_mm: tuple[float, float]) -> bool:
    outline = board.outline_px.astype(np.float32).reshape(-1, 1, 2)
    return cv2.pointPolygonTest(outline, (place_mm[0] * K, place_mm[1] * K), measureDist=False) > 0


BUMP = box((LEFT - 2.0, 52.0), 4.0, 10.0)
CORNER = np.array([[LEFT - 1, TOP - 1], [LEFT + 12, TOP - 1], [LEFT - 1, TOP + 2.5]])


def test_a_bump_is_cut_off_and_a_missing_corner_filled() -> None:
    board = found(photo(BOARD), [BUMP], [CORNER])
    assert board.area == pytest.approx(LENGTH * WIDTH, rel=0.012)
    assert not holds(board, (LEFT - 2.0, 52.0))
    assert holds(board, (LEFT + 0.8, TOP + 0.8))


def test_what_the_photo_shows_no_side_along_stays() -> None:
    rgb = photo(BOARD)
    for corners in (BUMP, CORNER):  # as if board and table had one colour there
        drawn(rgb, corners.mean(axis=0) + 1.6 * (corners - corners.mean(axis=0)), TABLE)
    board = found(rgb, [BUMP], [CORNER])
    assert holds(board, (LEFT - 3.0, 52.0))
    assert not holds(board, (LEFT + 0.8, TOP + 0.8))


def test_a_tongue_with_contacts_stays() -> None:
    tongue = box((70.0, TOP + WIDTH + 3.5), 70.0, 7.0)
    board = found(photo(BOARD, tongue), [tongue], [])
    assert holds(board, (70.0, TOP + WIDTH + 5.0))
    assert board.area == pytest.approx(LENGTH * WIDTH + 490, rel=0.02)


def test_a_notch_in_a_side_stays() -> None:
    notch = box((80.0, TOP + 2.0), 4.0, 4.0)
    board = found(photo(BOARD), [], [notch])
    assert not holds(board, (80.0, TOP + 2.0))


def test_a_good_outline_stays_as_it_is() -> None:
    board = found(photo(BOARD), [], [])
    assert board.area == pytest.approx(LENGTH * WIDTH, rel=0.008)
