"""Boards on boards: said, in the range, and of no effect where boards lie apart."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.plane import UniformPlane
from calibration.scale import Method, Scale
from grader.photo import Photo
from grader.regions import Board, Regions, with_pile
from tests.drawn_boards import box

PHOTO = Photo("pile.png", "ab" * 32, np.zeros((60, 80, 3), np.uint8), "PNG", 3000.0)
LYING = Board(box((20.0, 20.0), 20.0, 20.0), 400.0)


def regions(*boards: Board) -> Regions:
    return Regions(np.zeros((60, 80), np.uint16), (), (), boards)


def scale(px_per_mm: float, method: Method = "target") -> Scale:
    return Scale(method, UniformPlane(px_per_mm), px_per_mm, ())


def factor(px_per_mm: float, method: Method = "target") -> np.ndarray:
    (one,) = with_pile(scale(px_per_mm, method), regions(LYING, replace(LYING, hidden=True)), PHOTO).area_inputs
    return one.draws()


def test_boards_apart_change_nothing() -> None:
    lying = scale(10.0)
    assert with_pile(lying, regions(LYING, LYING), PHOTO) is lying
    assert with_pile(lying, regions(), PHOTO) is lying


def test_a_hidden_board_is_said_with_what_to_do() -> None:
    piled = with_pile(scale(10.0), regions(LYING, replace(LYING, hidden=True)), PHOTO)
    (said,) = piled.notices
    assert said.code == "boards-stacked"
    assert "2 boards" in said.message
    assert "side by side" in said.advice


def test_the_range_holds_the_heights_of_piles_and_the_value_stays() -> None:
    """At 300 mm, plating 20 mm nearer than the usual 7 mm looks ((300 - 7) / (300 - 27))² = 1.15 times as large."""
    wide = factor(10.0)
    assert np.median(wide) == pytest.approx(1.0, abs=1e-3)
    assert np.quantile(wide, 0.05) == pytest.approx(((300 - 26) / (300 - 7)) ** 2, abs=0.01)


@pytest.mark.parametrize("method", ["target", "length", "rectangle"])
def test_the_nearer_the_camera_the_more_a_height_matters(method: Method) -> None:
    assert np.std(factor(20.0, method)) > 1.5 * np.std(factor(10.0, method))


def test_a_known_length_may_lie_higher_or_lower_than_the_plating() -> None:
    wide = factor(10.0, "length")
    assert np.mean(wide > 1) == pytest.approx(0.5, abs=0.02)
    assert np.quantile(wide, 0.95) - 1 > 0.05
