"""Doubtful plating away from boards goes; all else stays as it is."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from grader.coverage.off_boards import without_stray

Picture = NDArray[np.uint8]


def scene(share: int, *, on_board: bool) -> tuple[Picture, Picture]:
    """One patch of a share, on a board or beside it; the board's map is half as fine."""
    shares = np.zeros((120, 200), np.uint8)
    left = 30 if on_board else 130
    shares[40:70, left : left + 30] = share
    board = np.zeros((60, 100), np.uint8)
    board[:, :50] = 255
    return shares, board


@pytest.mark.parametrize(("share", "on_board", "stays"), [(120, True, True), (120, False, False), (250, False, True)])
def test_only_what_is_doubtful_and_off_boards_goes(share: int, on_board: bool, stays: bool) -> None:
    shares, board = scene(share, on_board=on_board)
    kept = without_stray(shares, board)
    assert kept.any() == stays
    if stays:
        assert (kept == shares).all()


def test_a_region_goes_without_its_neighbours() -> None:
    shares, board = scene(120, on_board=False)
    shares[40:70, 30:60] = 120
    shares[90:110, 130:160] = 250
    kept = without_stray(shares, board)
    assert (kept[40:70, 30:60] == 120).all()
    assert (kept[90:110, 130:160] == 250).all()
    assert not kept[40:70, 130:160].any()


@pytest.mark.parametrize("turned", [np.fliplr, np.flipud, np.transpose])
def test_which_way_round_the_picture_lies_makes_no_difference(turned: object) -> None:
    shares, board = scene(120, on_board=False)
    shares[0:20, 0:40] = 130
    assert callable(turned)
    got = without_stray(np.ascontiguousarray(turned(shares)), np.ascontiguousarray(turned(board)))
    assert (got == turned(without_stray(shares, board))).all()


def test_the_shares_given_are_not_changed() -> None:
    shares, board = scene(120, on_board=False)
    before = shares.copy()
    without_stray(shares, board)
    assert (shares == before).all()


def test_nothing_found_stays_nothing() -> None:
    nothing = np.zeros((40, 40), np.uint8)
    assert not without_stray(nothing, nothing).any()
