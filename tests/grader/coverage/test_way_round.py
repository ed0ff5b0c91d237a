"""A picture is looked at the same way round however it was turned or mirrored."""

from functools import cache
from itertools import product

import cv2
import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Scale
from grader.coverage.choose import segmenter_named
from grader.coverage.way_round import way_round
from grader.photo import Photo
from grader.samples import samples_folder

TURNS = [(quarters, mirrored) for mirrored, quarters in product((False, True), range(4))]
K = 6.679  # px per mm of the sample, see its truth


def turned(picture: np.ndarray, quarters: int, mirrored: bool) -> np.ndarray:
    return np.ascontiguousarray(np.rot90(picture[:, ::-1] if mirrored else picture, quarters))


@pytest.mark.parametrize("size", [(40, 60), (60, 40), (50, 50)])
@pytest.mark.parametrize(("quarters", "mirrored"), TURNS)
def test_turned_pictures_are_laid_alike(size: tuple[int, int], quarters: int, mirrored: bool) -> None:
    picture = np.random.default_rng(3).integers(0, 256, (*size, 3), np.uint8)
    other = turned(picture, quarters, mirrored)
    laid = way_round(other).laid(other)
    assert np.array_equal(laid, way_round(picture).laid(picture))
    assert np.array_equal(way_round(other).back(laid), other)
    assert laid.shape[1] >= laid.shape[0]


@cache
def seen(quarters: int, mirrored: bool) -> tuple[np.ndarray, np.ndarray]:
    sample = cv2.imread(str(samples_folder() / "memory-modules.jpg"))[600:1000, 1180:1780, ::-1]
    rgb = turned(sample, quarters, mirrored)
    found = segmenter_named().segment(Photo("a", "a" * 64, rgb, "PNG"), Scale("length", UniformPlane(K), K, ()))
    return found.share, found.board


@pytest.mark.parametrize(("quarters", "mirrored"), TURNS[1::2])
def test_turning_the_photo_changes_no_plated_area(quarters: int, mirrored: bool) -> None:
    share, board = seen(0, False)
    other, other_board = seen(quarters, mirrored)
    assert share.any()
    assert float(other.sum()) == pytest.approx(float(share.sum()), rel=1e-3)
    assert np.mean(turned(board, quarters, mirrored) != other_board) < 1e-3
