"""Boards in a heap: a wide number, never fewer than lie in sight, narrowed by a stated mass."""

import numpy as np
import pytest

from grader.board_count import BoardCount
from grader.regions.evidence import OutlineEvidence
from grader.regions.heap import heap_of, with_mass
from grader.regions.model import Board

SHAPE = (1200, 1600, 3)


def board(
    x: float, y: float, *, area: float = 4000.0, hidden: bool = False, sides: float = 1.0, rectangles: int = 1
) -> Board:
    ring = np.array([[x, y], [x + 200, y], [x + 200, y + 60], [x, y + 60]])
    return Board(ring, area, hidden, evidence=OutlineEvidence(False, sides, 0.9, rectangles))


def test_boards_side_by_side_are_no_heap() -> None:
    assert heap_of([board(100, 100), board(400, 100)], SHAPE) is None


def test_a_board_at_the_frame_makes_the_number_a_range() -> None:
    found = heap_of([board(100, 100), board(0, 300), board(500, 500)], SHAPE)
    assert found is not None
    assert found.count.low >= 3
    assert found.count.high > 3


def test_the_larger_the_heap_the_more_boards_and_the_wider_the_range() -> None:
    def heap(n: int) -> BoardCount:
        own = [board(30 + 25 * k, 100 + 7 * k, hidden=k % 2 == 1, sides=1.0 if k % 3 else 0.5) for k in range(n)]
        found = heap_of(own, SHAPE)
        assert found is not None
        return found.count

    few, many = heap(6), heap(24)
    assert many.value > 2 * few.value
    assert many.high - many.low > few.high - few.low


def test_order_of_outlines_and_of_pixels_does_not_matter() -> None:
    own = [board(100, 100, hidden=True, sides=0.5), board(400, 300), board(700, 200, area=3000.0)]
    assert heap_of(own, SHAPE) == heap_of(own[::-1], SHAPE)


def test_a_mass_picks_the_numbers_that_weigh_so_much() -> None:
    count = BoardCount.of(dict.fromkeys(range(10, 101), 1.0))
    rng = np.random.default_rng(1)
    mass, each = np.full(4000, 1000.0), 20.0 * np.exp(rng.normal(0, 0.05, 4000))
    found = with_mass(count, mass, each)
    assert found is not None
    assert found.value == pytest.approx(50, abs=1)  # 1000 g ÷ 20 g
    # the normal law of the logarithm: 50 × exp(± 1.645 × 0.05)
    assert (found.low, found.high) == (pytest.approx(46, abs=1), pytest.approx(54, abs=1))


def test_a_mass_that_fits_no_number_is_told_apart() -> None:
    count = BoardCount.of({3: 0.5, 4: 0.5})
    assert with_mass(count, np.full(100, 10_000.0), np.full(100, 20.0) * np.exp(np.linspace(-0.1, 0.1, 100))) is None


def test_an_outline_without_an_edge_inside_stands_for_what_its_area_holds() -> None:
    whole = board(100, 100, area=2000.0)
    small, large = (heap_of([whole, board(500, 300, hidden=True, rectangles=0, area=a)], SHAPE) for a in (4e3, 4e4))
    assert small is not None
    assert large is not None
    assert large.count.value > 2 * small.count.value
    flat = heap_of([whole, board(500, 300, rectangles=0, area=4e4)], SHAPE)
    assert flat is not None
    assert flat.is_piled
    touching = heap_of([whole, board(500, 300, sides=0.5, area=2e3)], SHAPE)
    assert touching is not None
    assert not touching.is_piled
