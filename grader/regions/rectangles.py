"""Rectangles whose sides the picture shows: boards that touch or lie on each other.

Four lines, two pairs at right angles, make a candidate. It gains for every millimetre of its sides along which the
picture shows an edge that no earlier rectangle accounts for. It loses twice as much for every millimetre without an
edge, except where it may be hidden under an earlier rectangle. The best is taken, and the search goes on with the
rest.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.regions.edges import PARALLEL, STEP_MM, Lines, find_lines, turn_between
from grader.regions.plan_view import PlanView

# Chosen on renders of piles and of single boards.
_SQUARE = np.radians(4.0)
_SAME_DIRECTION = np.radians(0.5)  # lines this near in direction share their candidates
_MOST_EACH_WAY = 16
_LOSS = 2.0
_LEAST_GAIN_MM = 45.0
_MOST_UNSEEN = 0.3  # of the sides in sight
_LEAST_OF_A_SIDE = 0.45  # seen, of each side's part in sight
_NARROWEST_MM = 12.0
_LEAST_MM2 = 250.0
_LEAST_INSIDE = 0.93  # of the rectangle in the piece
_LEAST_NEW, _LEAST_NEW_MM2 = 0.2, 150.0  # of the rectangle outside those found before
_SAME_WAY, _SAME_SHARE, _WITHIN_SHARE = np.radians(8.0), 0.4, 0.8
_SEAM = 0.97  # seen, of a line across a rectangle, for it to be two boards side by side
_NARROWEST_HALF_MM = 16.0
_MOST_BOARDS = 12
_MOST_TRIED = 100
_RIM_MM = 3.0
_INSET_MM = 1.0

_SEEN, _NEW, _MISSING = range(3)  # running lengths along lines: edges seen, edges seen and new, edges missing


@dataclass(frozen=True, eq=False)
class Rectangle:
    """One rectangle of a view.

    Attributes:
        corners_mm: float64 (4, 2), in the view.
        mask: bool (height, width) of the view.
        sides: for each side, the number of its line and its ends as sample numbers along that line.
    """

    corners_mm: FloatArray
    mask: NDArray[np.bool_]
    sides: tuple[tuple[int, int, int], ...]

    @property
    def angle(self) -> float:
        """Direction of its longer side, radians, 0..π."""
        first, second = np.diff(self.corners_mm[:3], axis=0)
        x, y = first if np.hypot(*first) >= np.hypot(*second) else second
        return float(np.arctan2(y, x) % np.pi)

    @property
    def lengths_mm(self) -> tuple[float, float]:
        """Lengths of its shorter and its longer side."""
        short, long = sorted(float(np.hypot(*side)) for side in np.diff(self.corners_mm[:3], axis=0))
        return short, long


def find_rectangles(view: PlanView) -> tuple[list[Rectangle], Lines]:
    """Rectangles, those with the most evidence first, and the lines that they were made of."""
    lines = find_lines(view)
    found: list[Rectangle] = []
    if len(lines.angle) < 4:
        return found, lines
    search = _Search(lines)
    covered = np.zeros(view.inside.shape, bool)
    side = 2 * round(_INSET_MM * view.px_per_mm) + 1
    while len(found) < _MOST_BOARDS:
        best = next(
            (r for r in search.candidates(view) if _is_new(r, view, found, covered)),
            None,
        )
        if best is None:
            break
        found.append(best)
        covered |= best.mask
        inner = cv2.erode(best.mask.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
        search.account_for(best, lines.look_up(view, inner), view)
    return [part for whole in found for part in search.split(whole, view)], lines


def _is_new(one: Rectangle, view: PlanView, found: list[Rectangle], covered: NDArray[np.bool_]) -> bool:
    """Whether a rectangle lies in the piece and is neither part of an earlier one nor the same one again."""
    size = np.count_nonzero(one.mask)
    square = view.px_per_mm**2
    inside = one.mask & view.inside
    if size < _LEAST_MM2 * square or np.count_nonzero(inside) < _LEAST_INSIDE * size:
        return False
    if np.count_nonzero(inside & ~covered) < max(_LEAST_NEW * size, _LEAST_NEW_MM2 * square):
        return False
    for other in found:
        share = np.count_nonzero(one.mask & other.mask) / min(size, np.count_nonzero(other.mask))
        turn = abs((one.angle - other.angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)
        if share > _WITHIN_SHARE or (turn < _SAME_WAY and share > _SAME_SHARE):
            return False
    return True


class _Search:
    """Candidates among the lines of one view; remembers which edges are accounted for."""

    def __init__(self, lines: Lines) -> None:
        self._lines = lines
        self._crossing = lines.crossings()
        self._at = lines.index(self._crossing)
        self._hidden = np.zeros(lines.edge.shape, bool)
        self._known = np.zeros(lines.edge.shape, bool)
        self._groups = _right_angled(lines.angle)

    def account_for(self, found: Rectangle, hidden: NDArray[np.bool_], view: PlanView) -> None:
        """Record a rectangle that was found: it may hide others, and edges along its sides gain nothing any more."""
        self._hidden |= hidden
        corners = np.round(found.corners_mm * view.px_per_mm).astype(int)
        for a, b in zip(corners.tolist(), np.roll(corners, -1, axis=0).tolist(), strict=True):
            rim = np.zeros(view.inside.shape, np.uint8)
            cv2.line(rim, a, b, 1, max(1, round(_RIM_MM * view.px_per_mm)))
            along = turn_between(self._lines.angle, float(np.arctan2(b[1] - a[1], b[0] - a[0]))) < PARALLEL
            self._known[along] |= self._lines.look_up(view, rim > 0)[along]

    def candidates(self, view: PlanView) -> Iterator[Rectangle]:
        """The best candidates, best first."""
        edge = self._lines.edge
        counts = np.stack([_counted(a) for a in (edge, edge & ~self._known, ~edge & ~self._hidden)])
        found = [self._within(one, other, counts) for one, other in self._groups]
        if not found:
            return
        gain, numbers = (np.concatenate(of) for of in zip(*found, strict=True))
        for k in np.argsort(-gain, kind="stable")[:_MOST_TRIED]:
            yield self._rectangle(tuple(numbers[k].tolist()), view)

    def _within(
        self, one: NDArray[np.intp], other: NDArray[np.intp], counts: FloatArray
    ) -> tuple[FloatArray, NDArray[np.intp]]:
        """Gain (k,) and lines (k, 4) of the candidates with two sides from each of two sets.

        Args:
            one: numbers of lines (n,).
            other: numbers of the lines across them (m,).
            counts: running lengths along each line, see ``_SEEN``, (3, lines, s + 1).
        """
        (a, b), (i, j) = (_pairs(len(s)) for s in (one, other))
        across, fit_across = self._sides(one, other, counts)
        along, fit_along = self._sides(other, one, counts)
        worth, more = (of[_NEW] - _LOSS * of[_MISSING] for of in (across, along))
        # all at once, as few are good enough and these are found quickly
        each_gain = (worth[a] + worth[b]) + (more[i] + more[j]).T
        fit = (fit_across[a] & fit_across[b]) & (fit_along[i] & fit_along[j]).T
        p, q = np.nonzero(fit & (each_gain > _LEAST_GAIN_MM))
        a, b, i, j = a[p], b[p], i[q], j[q]
        seen, missing = (
            across[of][a, q] + across[of][b, q] + along[of][i, p] + along[of][j, p] for of in (_SEEN, _MISSING)
        )
        good = missing < _MOST_UNSEEN * (seen + missing)
        return each_gain[p, q][good], np.column_stack([one[a], one[b], other[i], other[j]])[good]

    def _sides(
        self, own: NDArray[np.intp], cross: NDArray[np.intp], counts: FloatArray
    ) -> tuple[FloatArray, NDArray[np.bool_]]:
        """Stretches of the lines ``own`` (n,) between each two lines of ``cross``, k pairs.

        Returns:
            Parts of each count (3, n, k), and whether each stretch may be a rectangle's side (n, k).
        """
        pairs = np.ix_(own, cross)
        running, place = counts[:, own[:, None], self._at[pairs]], self._crossing[pairs]
        start, end = _pairs(len(cross))
        parts = np.abs(running.take(start, axis=2) - running.take(end, axis=2))
        length = np.abs(place[:, start] - place[:, end])
        seen, missing = parts[_SEEN], parts[_MISSING]
        return parts, (seen > _LEAST_OF_A_SIDE * (seen + missing)) & (length > _NARROWEST_MM)

    def split(self, whole: Rectangle, view: PlanView) -> list[Rectangle]:
        """The rectangle, or its parts along seams that run all the way across it: boards laid side by side."""
        a, b, c, d = (side[0] for side in whole.sides)
        best: tuple[float, int, tuple[int, int], tuple[int, int]] | None = None
        for (p, q), (r, s) in (((a, b), (c, d)), ((c, d), (a, b))):
            for m in np.flatnonzero(turn_between(self._lines.angle, float(self._lines.angle[p])) < _SQUARE):
                apart = np.abs(self._crossing[[r, r, s, s], m] - self._crossing[[r, r, s, s], [p, q, p, q]])
                between = np.abs(np.diff(self._crossing[[r, s]][:, [p, q]], axis=1)[:, 0]).min()
                if apart.min() < _NARROWEST_HALF_MM or apart.max() > between:
                    continue
                start, end = sorted(self._at[m, [r, s]].tolist())
                seen = float((self._lines.edge[m, start:end] & ~self._known[m, start:end]).mean())
                if seen >= _SEAM and (best is None or seen > best[0]):
                    best = (seen, int(m), (p, q), (r, s))
        if best is None:
            return [whole]
        _, seam, sides, ends = best
        halves = (self._rectangle((side, seam, *ends), view) for side in sides)
        return [part for half in halves for part in self.split(half, view)]

    def _rectangle(self, numbers: tuple[int, ...], view: PlanView) -> Rectangle:
        a, b, c, d = numbers
        corners = np.array([self._place(*pair) for pair in ((a, c), (a, d), (b, d), (b, c))])
        mask = np.zeros(view.inside.shape, np.uint8)
        cv2.fillPoly(mask, [np.round(corners * view.px_per_mm).astype(np.int32)], 1)
        sides = ((a, c, d), (b, c, d), (c, a, b), (d, a, b))
        return Rectangle(corners, mask > 0, tuple((n, *sorted(self._at[n, [p, q]].tolist())) for n, p, q in sides))

    def _place(self, line: int, crossing: int) -> FloatArray:
        along = self._crossing[line, crossing] * self._lines.along[line]
        return np.asarray(self._lines.point[line] + along)


def _right_angled(angle: FloatArray) -> list[tuple[NDArray[np.intp], NDArray[np.intp]]]:
    """Pairs of sets of lines, those along and those across a direction; each pair once.

    Directions that hardly differ would give the same candidates again and again, and use up the number of tries.
    """
    found: dict[tuple[bytes, bytes], tuple[NDArray[np.intp], NDArray[np.intp]]] = {}
    told: list[float] = []
    for direction in angle.tolist():  # from the longest line
        if any(abs((direction - other + np.pi / 4) % (np.pi / 2) - np.pi / 4) < _SAME_DIRECTION for other in told):
            continue
        told.append(direction)
        turn = turn_between(angle, direction)
        along = np.flatnonzero(turn < _SQUARE)[:_MOST_EACH_WAY]
        across = np.flatnonzero(turn > np.pi / 2 - _SQUARE)[:_MOST_EACH_WAY]
        if len(along) > 1 and len(across) > 1:
            one, other = sorted((along, across), key=lambda s: s.tolist())
            found[one.tobytes(), other.tobytes()] = (one, other)
    return list(found.values())


@functools.cache
def _pairs(n: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """First and second index of each pair out of n."""
    return np.triu_indices(n, 1)


def _counted(mask: NDArray[np.bool_]) -> FloatArray:
    """Running length in mm of the set samples along each line, (n, s + 1)."""
    return np.pad(np.cumsum(mask, axis=1) * STEP_MM, ((0, 0), (1, 0)))
