"""What a person takes for one row is one, also where it was found in pieces."""

from __future__ import annotations

import numpy as np
import pytest

from grader.correct.groups import seen_rows
from grader.regions import ContactRow, Region, Regions
from tests.drawn_boards import box


def contact(number: int, x: float, y: float, row: int | None, board: int | None = 0) -> Region:
    return Region(number, "hard_gold", box((x, y), 10.0, 40.0), 5.0, 1.25, board, row)


def row(count: int, start: tuple[float, float], end: tuple[float, float], board: int | None = 0) -> ContactRow:
    return ContactRow(count, 2.0, 5.0, 1.25, 0.0, board, True, (start, end))


def of(regions: list[Region], *rows: ContactRow) -> tuple[int | None, ...]:
    return seen_rows(Regions(np.zeros((9, 9), np.uint16), tuple(regions), rows, ()), 8.0)


@pytest.mark.parametrize("tilt", [0.0, 0.2])
def test_rows_on_one_line_and_pieces_between_them_are_one_row(tilt: float) -> None:
    at = [(20.0 * n, 300.0 + tilt * 20.0 * n) for n in range(20)]
    regions = [contact(n + 1, *place, 0 if n < 9 else 1 if n > 11 else None) for n, place in enumerate(at)]
    beside = contact(21, 100.0, 420.0 + tilt * 100, None)
    other_board = contact(22, 90.0, 300.0 + tilt * 90, None, 1)
    found = of([*regions, beside, other_board], row(9, at[0], at[8]), row(8, at[12], at[19]))
    assert len(set(found[:20])) == 1
    assert found[0] is not None
    assert found[20:] == (None, None)


def test_rows_beside_each_other_stay_two() -> None:
    upper = [contact(n + 1, 20.0 * n, 100.0, 0) for n in range(6)]
    lower = [contact(n + 7, 20.0 * n, 200.0, 1) for n in range(6)]
    found = of([*upper, *lower], row(6, (0.0, 100.0), (100.0, 100.0)), row(6, (0.0, 200.0), (100.0, 200.0)))
    assert len(set(found[:6])) == len(set(found[6:])) == 1
    assert found[0] != found[6]


def test_without_rows_there_is_none() -> None:
    assert of([contact(1, 5.0, 5.0, None)]) == (None,)
