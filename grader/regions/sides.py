"""Table between two boards, where the map of boards bridges it: it lies beyond visible sides of both."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.regions.edges import STEP_MM, Lines
from grader.regions.plan_view import PlanView
from grader.regions.rectangles import Rectangle

# Chosen on renders of boards that lie alone.
_WINDOW = 7  # samples along a side that together decide whether it is seen
_LEAST_SEEN = 0.7  # of them
_MOST_APART_MM = 12.0  # from side to side; a wider gap may be a board


def table_between(
    rest: NDArray[np.bool_], rectangles: list[Rectangle], lines: Lines, view: PlanView
) -> NDArray[np.bool_]:
    """Pixels of a mask, bool (height, width) of the view, that lie beyond seen sides of two rectangles."""
    found = np.zeros(rest.shape, bool)
    y, x = np.nonzero(rest)
    if len(rectangles) < 2 or not len(y):
        return found
    places = np.column_stack([x, y]) / view.px_per_mm
    nearest = np.partition([_beyond(places, r, lines) for r in rectangles], 1, axis=0)
    between = nearest[0] + nearest[1] <= _MOST_APART_MM
    found[y[between], x[between]] = True
    return found


def _beyond(places: FloatArray, one: Rectangle, lines: Lines) -> FloatArray:
    """Distance of places (n, 2) in mm beyond a side of a rectangle, where that side is seen; inf for other places."""
    centre = one.corners_mm.mean(axis=0)
    least = np.full(len(places), np.inf)
    for line, start, end in one.sides:
        if end - start < _WINDOW:
            continue
        edge = np.pad(lines.edge[line, start:end].astype(np.float64), _WINDOW // 2, mode="edge")
        seen = np.convolve(edge, np.full(_WINDOW, 1 / _WINDOW), "valid") >= _LEAST_SEEN
        offset = places - lines.point[line]
        at = np.round(offset @ lines.along[line] / STEP_MM).astype(np.intp) + lines.edge.shape[1] // 2 - start
        out = offset @ lines.across[line]
        out *= -np.sign((centre - lines.point[line]) @ lines.across[line])
        fits = (out > 0) & (at >= 0) & (at < len(seen))
        fits[fits] = seen[at[fits]]
        least[fits] = np.minimum(least[fits], out[fits])
    return least
