"""Where pieces may begin and end on one axis."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray

_ROUNDING = 1e-6  # mm: a millionth of a millimetre is nothing


@dataclass(frozen=True, eq=False)
class Sides:
    """The sides of pieces on one axis, in order, the board's own edges first and last.

    Attributes:
        at: float64 (n,), the middle of a cut at each, mm.
        kerf_mm: width that a cut takes.
    """

    at: FloatArray
    kerf_mm: float

    @classmethod
    def of(cls, lines: FloatArray, size_mm: float, kerf_mm: float) -> Sides:
        """Sides at lines, and at the edges of a board."""
        return cls(np.r_[0.0, lines, size_mm], kerf_mm)

    @property
    def many(self) -> int:
        """How many there are."""
        return len(self.at)

    @cached_property
    def half_mm(self) -> FloatArray:
        """What a cut takes on each of its sides (n,); nothing at the board's own edges."""
        return np.asarray(np.r_[0.0, np.full(self.many - 2, self.kerf_mm / 2), 0.0])

    @property
    def begin(self) -> FloatArray:
        """Where a piece begins that begins at each side."""
        return self.at + self.half_mm

    @property
    def end(self) -> FloatArray:
        """Where a piece ends that ends at each."""
        return self.at - self.half_mm


@dataclass(frozen=True, eq=False)
class Room:
    """How far along its axis a cut at each side may be moved, where it runs from side c to side d of the other axis.

    Attributes:
        least: float64 (n, m, m), the least place, mm.
        greatest: the greatest.
        sides: of the axis.
    """

    least: FloatArray
    greatest: FloatArray
    sides: Sides

    @classmethod
    def none(cls, lines: Sides, across: Sides) -> Room:
        """Cuts lie at their lines."""
        at = np.broadcast_to(lines.at[:, None, None], (lines.many, across.many, across.many))
        return cls(at, at, lines)

    @classmethod
    def between(cls, lines: Sides, across: Sides, boxes: FloatArray, reach_mm: float) -> Room:
        """Cuts may be moved to the next line on either side, where no box is in the way between."""
        free = permitted((lines.at[:-1] + lines.at[1:]) / 2, across, boxes, reach_mm)
        at = lines.at[:, None, None]
        least, greatest = np.repeat(at, across.many, 1), np.repeat(at, across.many, 1)
        least, greatest = np.repeat(least, across.many, 2), np.repeat(greatest, across.many, 2)
        least[1:-1] = np.where(free[:-1], at[:-2], at[1:-1])
        greatest[1:-1] = np.where(free[1:], at[2:], at[1:-1])
        return cls(least, greatest, lines)

    def shortest(self, a: NDArray[np.intp], b: NDArray[np.intp]) -> FloatArray:
        """The least lengths (k, m, m) of pieces from sides a to sides b, (k,)."""
        return self._length(self.greatest[a], self.least[b], a, b)

    def longest(self, a: NDArray[np.intp], b: NDArray[np.intp]) -> FloatArray:
        """The greatest lengths (k, m, m)."""
        return self._length(self.least[a], self.greatest[b], a, b)

    def _length(self, begin: FloatArray, end: FloatArray, a: NDArray[np.intp], b: NDArray[np.intp]) -> FloatArray:
        taken = self.sides.half_mm[a] + self.sides.half_mm[b]
        return np.asarray(np.maximum(end - begin - taken[:, None, None], 0.0))


def permitted(at_mm: FloatArray, across: Sides, boxes: FloatArray, reach_mm: float) -> BoolArray:
    """Whether a cut at each place (n, m, m), from side c to side d of the other axis, stays clear of the boxes.

    Args:
        at_mm: (n,), its middle.
        across: sides of the piece that it would part.
        boxes: (k, 4), along the cuts' own axis and across, mm.
        reach_mm: to keep from the middle of a cut.
    """
    found = np.ones((len(at_mm), across.many, across.many), bool)
    begins, ends = boxes[:, 3, None] > across.begin + _ROUNDING, boxes[:, 2, None] < across.end - _ROUNDING
    for i, at in enumerate(at_mm):
        near = (at > boxes[:, 0] - reach_mm + _ROUNDING) & (at < boxes[:, 1] + reach_mm - _ROUNDING)
        if near.any():
            found[i] = (begins[near].T.astype(np.float32) @ ends[near].astype(np.float32)) == 0
    return found
