"""Where it can pay to cut: lines along the plating, and lines that make pieces fit."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from grader.cut.grid import BoardGrid, sum_over
from grader.cut.islands import board_islands, islands, joined
from grader.cut.rules import CutRules

# rectangles × cuts that are looked at for one price of lost gold: a tenth of a second with 30 lines on each axis
_MOST_WORK = 32.0**5 * 2
# islands nearer than so much are also taken as one, so that a few lines serve where not all can be searched
_JOINED_MM = (16.0, 8.0, 4.0, 2.0, 1.0, 0.0)
_EVEN, _APART_MM = 3, 1e-6
_ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Places:
    """Where cuts are looked for.

    Attributes:
        boxes: float64 (k, 4), islands that cuts keep clear of, mm.
        lines: where cuts may lie, mm, in order, for both axes.
        complete: whether every line along an island is among them.
    """

    boxes: FloatArray
    lines: tuple[FloatArray, FloatArray]
    complete: bool


def candidate_places(grid: BoardGrid, rules: CutRules) -> Places:
    """Lines along islands of gold at the clearance, those that make the least or the longest piece, and even ones.

    Where there are too many to search them all, those stay that run along much gold.
    """
    boxes = board_islands(grid, rules)
    along = boxes
    if rules.through != "nothing":
        along = np.concatenate([boxes, islands(grid.plating, grid.step_mm, rules.reach_mm)])
    grouped = [joined(along, 2 * rules.reach_mm + near) for near in _JOINED_MM]
    ordered = [own[np.argsort([-_gold(grid, box) for box in own], kind="stable")] for own in grouped]
    found = [_lines(grid, rules, ordered, axis) for axis in (0, 1)]
    many = sum(map(len, found))
    while _work(len(found[0]) + 2, len(found[1]) + 2) > _MOST_WORK:
        longer = int(len(found[1]) > len(found[0]))
        found[longer] = found[longer][:-1]
    return Places(boxes, (np.sort(found[0]), np.sort(found[1])), many == sum(map(len, found)))


def _work(n: int, m: int) -> float:
    return float(n * m) ** 2 * (n + m)


def _gold(grid: BoardGrid, box: FloatArray) -> float:
    u0, u1, v0, v1 = box.tolist()
    return sum_over(grid.gold_mg, grid.step_mm, (u0, u1, v0, v1))


def _lines(grid: BoardGrid, rules: CutRules, boxes: list[FloatArray], axis: int) -> FloatArray:
    """Lines on one axis, (k,), those first that promise most."""
    size, reach = grid.size_mm[axis], rules.reach_mm
    near = rules.least_piece_mm + rules.kerf_mm / 2
    parts = math.ceil(size / rules.fit.longest_mm - _ROUNDING)
    even = [round(size * i / parts / grid.step_mm) * grid.step_mm for i in range(1, parts)]
    wanted = [*even[:_EVEN], near, size - near]
    begins, ends = [-rules.kerf_mm / 2], [size + rules.kerf_mm / 2]  # of pieces along an island, or the board's edge
    for own in boxes:
        for low, high in own[:, 2 * axis : 2 * axis + 2].tolist():
            begins.append(low - reach)
            ends.append(high + reach)
            wanted += [low - reach, high + reach]
            narrow = rules.least_piece_mm + rules.kerf_mm
            if high - low + 2 * rules.clearance_mm < rules.least_piece_mm:
                wanted += [low - reach + narrow, high + reach - narrow]
    if parts > 1:
        for length in (longest + rules.kerf_mm for longest in rules.fit.lengths_mm):
            wanted += [*(begin + length for begin in begins), *(end - length for end in ends)]
    wanted += even[_EVEN:]
    inside = [line for line in wanted if near - _ROUNDING <= line <= size - near + _ROUNDING]
    chosen: dict[int, float] = {}
    for line in inside:
        chosen.setdefault(round(line / _APART_MM), line)
    return np.array(list(chosen.values()))
