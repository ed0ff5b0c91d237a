"""Windows hold all that is wanted, once, and never cost more than the two plain ways of doing it."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from grader.coverage.windows import CELL_PX, Window, windows_around

MARGIN_PX, EACH_PX = 40, 5_000


@st.composite
def maps(draw: st.DrawFn) -> tuple[NDArray[np.bool_], tuple[int, int]]:
    """A map with a few wanted rectangles, and the size of the picture that it is a map of."""
    size = draw(st.integers(1, 1500)), draw(st.integers(1, 1500))
    wanted = np.zeros(tuple(max(1, n // 3) for n in size), np.bool_)
    for _ in range(draw(st.integers(0, 6))):
        top, left = (draw(st.integers(0, n - 1)) for n in wanted.shape)
        wanted[top : top + draw(st.integers(1, 60)), left : left + draw(st.integers(1, 200))] = True
    return wanted, size


def cost(windows: list[Window]) -> int:
    return sum(w.area_px + EACH_PX for w in windows)


@given(maps())
def test_each_wanted_place_lies_in_one_window(drawn: tuple[NDArray[np.bool_], tuple[int, int]]) -> None:
    wanted, size = drawn
    times = np.zeros(size, np.int64)
    for window in windows_around(wanted, size, MARGIN_PX, EACH_PX):
        times[window.inner] += 1
        for inner, outer, n in zip(window.inner, window.outer, size, strict=True):
            assert outer.start == max(inner.start - MARGIN_PX, 0)
            assert outer.stop == min(inner.stop + MARGIN_PX, n)
    assert times.max() <= 1
    rows, columns = (
        ((at + 0.5) * n / of).astype(int) for at, n, of in zip(wanted.nonzero(), size, wanted.shape, strict=True)
    )
    assert (times[rows, columns] == 1).all()


@given(maps())
def test_no_dearer_than_one_window_or_one_for_each_cell(drawn: tuple[NDArray[np.bool_], tuple[int, int]]) -> None:
    wanted, size = drawn
    # whole cells: what is cut off at the picture's edge then costs the same in each way of covering it
    size = tuple(-(-n // CELL_PX) * CELL_PX for n in size)  # type: ignore[assignment]
    inside = np.zeros(tuple(n // CELL_PX for n in size), np.bool_)
    inside[: wanted.shape[0], : wanted.shape[1]] = wanted[: inside.shape[0], : inside.shape[1]]
    padded = np.pad(inside, 2)
    large = tuple(n * CELL_PX for n in padded.shape)
    got = cost(windows_around(padded, (large[0], large[1]), MARGIN_PX, EACH_PX))
    if not padded.any():
        assert got == 0
        return
    rows, columns = padded.nonzero()
    sides = [(np.ptp(at) + 1) * CELL_PX + 2 * MARGIN_PX for at in (rows, columns)]
    assert got <= sides[0] * sides[1] + EACH_PX
    assert got <= len(rows) * ((CELL_PX + 2 * MARGIN_PX) ** 2 + EACH_PX)


def test_rows_far_apart_are_read_apart_and_neighbours_together() -> None:
    wanted = np.zeros((2000, 2000), np.bool_)
    wanted[100:130, 100:1900] = True
    assert len(windows_around(wanted, (2000, 2000), MARGIN_PX, EACH_PX)) == 1
    wanted[1800:1830, 100:1900] = True
    assert len(windows_around(wanted, (2000, 2000), MARGIN_PX, EACH_PX)) == 2
    wanted[150:180, 100:1900] = True
    assert len(windows_around(wanted, (2000, 2000), MARGIN_PX, EACH_PX)) == 2


def test_nothing_wanted_nothing_read() -> None:
    assert windows_around(np.zeros((30, 40), np.bool_), (300, 400), MARGIN_PX, EACH_PX) == []


@given(maps(), st.integers(0, 90), st.integers(0, 90))
def test_windows_move_with_what_is_wanted(
    drawn: tuple[NDArray[np.bool_], tuple[int, int]], down: int, right: int
) -> None:
    wanted = drawn[0]
    # room on all sides, so that no window ends at the picture's border
    room = MARGIN_PX + CELL_PX
    placed, moved = (
        np.pad(wanted, ((room + y, 2 * room + 90 - y), (room + x, 2 * room + 90 - x)))
        for y, x in ((0, 0), (down, right))
    )
    before, after = (windows_around(m, (m.shape[0], m.shape[1]), MARGIN_PX, EACH_PX) for m in (placed, moved))
    assert [[(s.start + d, s.stop + d) for s, d in zip(w.outer, (down, right), strict=True)] for w in before] == [
        [(s.start, s.stop) for s in w.outer] for w in after
    ]
