"""What no plan of straight cuts through whole pieces can undercut, wherever along the board's axes they lie.

Between two neighbouring lines along islands, what is in a cut's way does not change. A cut that lies somewhere
between them can be moved to either without an island changing pieces. The cost of a plan is linear in place of
each cut by itself where the board is evenly heavy, so that at one of the two it does not rise: the plans at the lines
alone hold the cheapest. Except that a piece may have to end between two lines in order to fit or to be held, and that
a board with notches is not evenly heavy. For the bound, pieces therefore fit and can be held wherever they might, and
a board weighs between two lines no more than where it weighs least.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from calibration.arrays import FloatArray
from grader.cut.grid import BoardGrid
from grader.cut.guillotine import Search
from grader.cut.lines import Places
from grader.cut.loss import least_within
from grader.cut.rules import CutRules
from grader.cut.sides import Sides


def least_cost(grid: BoardGrid, rules: CutRules, places: Places, enough: float = math.inf) -> float:
    """A cost that no plan undercuts; infinite where no plan can keep the rules.

    Args:
        grid: the board.
        rules: to keep.
        places: where cuts were looked for.
        enough: what a plan costs: the bound need not be higher.
    """
    boxes = _whole(places, rules)
    one, two = (Sides.of(lines, size, rules.kerf_mm) for lines, size in zip(places.lines, grid.size_mm, strict=True))
    kept = np.zeros(grid.gold_mg.shape, bool)
    for u0, u1, v0, v1 in np.round(boxes / grid.step_mm).astype(int).tolist():
        kept[u0:u1, v0:v1] = True
    gold = np.where(kept, grid.gold_mg, _least(np.where(kept, 0.0, grid.gold_mg), (one, two), grid.step_mm))
    least = BoardGrid(grid.step_mm, gold, _least(grid.mass_g, (one, two), grid.step_mm), grid.contact, grid.plating)
    search = Search(least, rules, (one, two), boxes, loose=True)
    return max(0.0, least_within(search, least, boxes, rules.allowed_mg(grid.gold_total_mg), enough).bound)


def _whole(places: Places, rules: CutRules) -> FloatArray:
    """The islands along both sides of which lines run: no cut between two lines can part them."""
    if places.complete or not len(places.boxes):
        return places.boxes
    found = np.ones(len(places.boxes), bool)
    for axis, lines in enumerate(places.lines):
        for side, reach in ((0, -rules.reach_mm), (1, rules.reach_mm)):
            wanted = places.boxes[:, 2 * axis + side] + reach
            outside = (wanted <= lines.min(initial=math.inf)) | (wanted >= lines.max(initial=-math.inf))
            found &= outside | (np.abs(wanted[:, None] - lines).min(axis=1, initial=math.inf) < 1e-6)
    return places.boxes[found]


def _least(cells: FloatArray, sides: tuple[Sides, Sides], step_mm: float) -> FloatArray:
    """The cells (n, m) with no more in each than in any between the same two lines, and a kerf's reach beyond."""
    for own in sides:
        lines = own.at[1:-1]
        found = cells.copy()
        for low, high in pairwise(lines.tolist()):
            first = max(0, math.floor((low - own.kerf_mm / 2) / step_mm + 1e-6))
            last = min(len(cells), math.ceil((high + own.kerf_mm / 2) / step_mm - 1e-6))
            found[first:last] = np.minimum(found[first:last], cells[first:last].min(axis=0))
        cells = found.T
    return cells
