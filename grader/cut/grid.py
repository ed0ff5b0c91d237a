"""A board as a grid of small cells: its material, its gold, and where cuts are not wanted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calibration.arrays import BoolArray, FloatArray

_ON_BORDER = 1e-6


@dataclass(frozen=True, eq=False)
class BoardGrid:
    """A board in its own axes: first axis along its longer side.

    Attributes:
        step_mm: side of a cell.
        gold_mg: float64 (n, m), gold of each cell.
        mass_g: float64 (n, m), board of each cell; 0 in notches and beyond the outline.
        contact: bool (n, m), cells with a contact.
        plating: bool (n, m), cells with any gold, contacts too.
    """

    step_mm: float
    gold_mg: FloatArray
    mass_g: FloatArray
    contact: BoolArray
    plating: BoolArray

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length and width."""
        n, m = self.gold_mg.shape
        return n * self.step_mm, m * self.step_mm

    @property
    def gold_total_mg(self) -> float:
        """Gold of the whole board."""
        return float(self.gold_mg.sum())

    @cached_property
    def gold_sums(self) -> Sums:
        """Gold in mg over any rectangle."""
        return Sums(self.gold_mg, self.step_mm)

    @cached_property
    def mass_sums(self) -> Sums:
        """Board in g over any rectangle."""
        return Sums(self.mass_g, self.step_mm)

    def turned(self) -> BoardGrid:
        """The same board with its axes swapped."""
        return BoardGrid(self.step_mm, self.gold_mg.T, self.mass_g.T, self.contact.T, self.plating.T)


class Sums:
    """Sums of a quantity over any rectangle, exact for cells of even density."""

    def __init__(self, cells: FloatArray, step_mm: float) -> None:
        n, m = cells.shape
        self._table = np.zeros((n + 1, m + 1))
        self._table[1:, 1:] = cells.cumsum(0).cumsum(1)
        self._step = step_mm

    def at(self, u_mm: FloatArray, v_mm: FloatArray) -> FloatArray:
        """Sums from the corner to each (u, v): (len(u), len(v))."""
        along = _between(self._table, u_mm, self._step)
        return _between(along.T, v_mm, self._step).T


def sum_over(cells: FloatArray, step_mm: float, rectangle: tuple[float, float, float, float]) -> float:
    """The sum over one rectangle (u0, u1, v0, v1) in mm, exact for cells of even density."""
    u0, u1, v0, v1 = (side / step_mm for side in rectangle)
    along, across = (np.arange(n) for n in cells.shape)
    inside_u = np.clip(u1 - along, 0, 1) - np.clip(u0 - along, 0, 1)
    inside_v = np.clip(v1 - across, 0, 1) - np.clip(v0 - across, 0, 1)
    return float(inside_u @ cells @ inside_v)


def _between(table: FloatArray, at_mm: FloatArray, step_mm: float) -> FloatArray:
    """Rows of a table between which places lie, in proportion."""
    place = np.clip(at_mm / step_mm, 0, len(table) - 1)
    first = np.minimum(place.astype(int), len(table) - 2)
    share = (place - first)[:, None]
    return np.asarray(table[first] * (1 - share) + table[first + 1] * share)


def unwanted(grid: BoardGrid, through: str) -> FloatArray:
    """1.0 for the cells that cuts must keep clear of, float64 (n, m)."""
    if through == "contacts":
        return np.zeros(grid.gold_mg.shape)
    return (grid.contact if through == "plating" else grid.plating).astype(np.float64)


def crossed(wanted_clear: FloatArray, lines_mm: FloatArray, step_mm: float) -> FloatArray:
    """What a cut without width would part: 1.0 for each cell along each line, float64 (len(lines), m).

    A line between two cells parts what lies in both of them, a line through a cell what lies in it.
    """
    place = lines_mm / step_mm
    border = np.round(place).astype(int)
    on_border = np.abs(place - border) < _ON_BORDER
    last = len(wanted_clear) - 1
    before = wanted_clear[np.clip(np.where(on_border, border - 1, np.floor(place).astype(int)), 0, last)]
    after = wanted_clear[np.clip(np.where(on_border, border, np.floor(place).astype(int)), 0, last)]
    return np.asarray(np.minimum(before, after))
