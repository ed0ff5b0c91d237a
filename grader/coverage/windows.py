"""Where to look closely: windows that together hold every wanted part of a picture, for the least work.

A window is read with a margin around it, and each window has a small cost of its own. One window around everything
wastes work on empty picture; one window for each part wastes it on margins. A tree of straight cuts finds a good
compromise: it is grown until its boxes are full, then pruned wherever a box costs no more than its two halves (as
Breiman et al., "Classification and Regression Trees", 1984, prune a tree by its cost). Boxes are counted from where
the first wanted part begins, not from the picture's corner: cropping or adding picture around the boards does not
move the windows over them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

CELL_PX = 32


@dataclass(frozen=True)
class Window:
    """A rectangle of a picture: it fills in ``inner`` and reads ``outer``; both are rows, columns."""

    inner: tuple[slice, slice]
    outer: tuple[slice, slice]

    @property
    def area_px(self) -> int:
        """Number of pixels to read."""
        rows, columns = self.outer
        return int((rows.stop - rows.start) * (columns.stop - columns.start))


@dataclass(frozen=True)
class _Box:
    """Cells from (top, left) up to, not including, (bottom, right)."""

    top: int
    left: int
    bottom: int
    right: int


def windows_around(wanted: NDArray[np.bool_], size: tuple[int, int], margin_px: int, each_px: int) -> list[Window]:
    """Windows whose inner parts do not overlap and hold the middle of each wanted place.

    Args:
        wanted: bool (h, w), a map of the picture at any scale.
        size: the picture's height and width, pixels.
        margin_px: width of the border that a window reads around its inner part.
        each_px: cost of one more window, as a number of pixels read.
    """
    start = _start(wanted, size)
    cells = _cells(wanted, size, start)
    box = _shrunk(cells, _Box(0, 0, *cells.shape))
    boxes = [] if box is None else _cheapest(cells, box, margin_px, each_px)[1]
    return [_window(b, size, margin_px, start) for b in boxes]


def _start(wanted: NDArray[np.bool_], size: tuple[int, int]) -> tuple[int, int]:
    """The row and the column of the picture at which the wanted places begin."""
    first = (wanted.any(1), wanted.any(0))
    top, left = (int(own.argmax() * n / of) for own, n, of in zip(first, size, wanted.shape, strict=True))
    return top, left


def _cells(wanted: NDArray[np.bool_], size: tuple[int, int], start: tuple[int, int]) -> NDArray[np.bool_]:
    """Squares of the picture, counted from ``start``, in which something is wanted, bool (rows, columns)."""
    grid = np.zeros([-(-(n - first) // CELL_PX) for n, first in zip(size, start, strict=True)], np.bool_)
    rows, columns = (
        (((at + 0.5) * n / of).astype(np.intp) - first) // CELL_PX
        for at, n, of, first in zip(np.nonzero(wanted), size, wanted.shape, start, strict=True)
    )
    grid[rows, columns] = True
    return grid


def _shrunk(cells: NDArray[np.bool_], box: _Box) -> _Box | None:
    """The smallest box with the same wanted cells; None if it has no wanted cells."""
    part = cells[box.top : box.bottom, box.left : box.right]
    rows, columns = np.flatnonzero(part.any(1)), np.flatnonzero(part.any(0))
    if not len(rows):
        return None
    return _Box(
        box.top + int(rows[0]),
        box.left + int(columns[0]),
        box.top + int(rows[-1]) + 1,
        box.left + int(columns[-1]) + 1,
    )


def _cost(box: _Box, margin_px: int, each_px: int) -> int:
    height, width = (n * CELL_PX + 2 * margin_px for n in (box.bottom - box.top, box.right - box.left))
    return height * width + each_px


def _cheapest(cells: NDArray[np.bool_], box: _Box, margin_px: int, each_px: int) -> tuple[int, list[_Box]]:
    """The cost and boxes of the cheaper choice: the whole box, or the best boxes within its halves."""
    whole = _cost(box, margin_px, each_px)
    if cells[box.top : box.bottom, box.left : box.right].all():
        return whole, [box]
    halves = (_shrunk(cells, half) for half in _best_halves(cells, box, margin_px, each_px))
    parts = [_cheapest(cells, b, margin_px, each_px) for b in halves if b is not None]
    together = sum(cost for cost, _ in parts)
    return (whole, [box]) if whole <= together else (together, [b for _, boxes in parts for b in boxes])


def _best_halves(cells: NDArray[np.bool_], box: _Box, margin_px: int, each_px: int) -> tuple[_Box, _Box]:
    """The straight cut whose sides, each shrunk to its wanted cells, cost least. The box itself must be shrunk."""
    part = cells[box.top : box.bottom, box.left : box.right]
    row, row_cost = _best_cut(part, margin_px, each_px)
    column, column_cost = _best_cut(part.T, margin_px, each_px)
    if row_cost <= column_cost:
        middle = box.top + row
        return _Box(box.top, box.left, middle, box.right), _Box(middle, box.left, box.bottom, box.right)
    middle = box.left + column
    return _Box(box.top, box.left, box.bottom, middle), _Box(box.top, middle, box.bottom, box.right)


def _best_cut(part: NDArray[np.bool_], margin_px: int, each_px: int) -> tuple[int, float]:
    """The row before which to cut, and the cost of the two sides; infinite where there is only one row."""
    height, width = part.shape
    if height == 1:
        return 0, np.inf
    filled = part.any(1)
    first = np.where(filled, part.argmax(1), width)
    last = np.where(filled, width - part[:, ::-1].argmax(1), 0)
    number = np.arange(height)
    above = _costs(
        np.maximum.accumulate(np.where(filled, number + 1, 0)),
        np.maximum.accumulate(last) - np.minimum.accumulate(first),
        margin_px,
    )
    below = _costs(
        height - np.minimum.accumulate(np.where(filled, number, height)[::-1])[::-1],
        (np.maximum.accumulate(last[::-1]) - np.minimum.accumulate(first[::-1]))[::-1],
        margin_px,
    )
    together = above[:-1] + below[1:]
    cut = int(together.argmin())
    return cut + 1, float(together[cut]) + 2 * each_px


def _costs(heights: NDArray[np.intp], widths: NDArray[np.intp], margin_px: int) -> NDArray[np.intp]:
    return np.asarray((heights * CELL_PX + 2 * margin_px) * (widths * CELL_PX + 2 * margin_px))


def _window(box: _Box, size: tuple[int, int], margin_px: int, start: tuple[int, int]) -> Window:
    spans = zip(((box.top, box.bottom), (box.left, box.right)), size, start, strict=True)
    inner = tuple(slice(first + a * CELL_PX, min(first + b * CELL_PX, n)) for (a, b), n, first in spans)
    outer = tuple(
        slice(max(s.start - margin_px, 0), min(s.stop + margin_px, n)) for s, n in zip(inner, size, strict=True)
    )
    return Window((inner[0], inner[1]), (outer[0], outer[1]))
