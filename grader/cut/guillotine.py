"""Guillotine cuts in two axes: each goes through a whole piece.

Dynamic programming over the rectangles between a few candidate lines. Gold that may be lost enters by a price λ for
each milligram; for every λ ≥ 0, least(cost + λ × lost) - λ × allowed is a lower bound on the cost of any plan that
keeps the limit (Lagrangian relaxation), which says how far the plan found may be from the best at these lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np

from grader.cut.grid import BoardGrid, FloatArray, Sums, crossed, sums_along, unwanted
from grader.cut.plan import Axis, Cut, Piece, Plan
from grader.cut.rules import CutRules

_Sides = tuple[int, int, int, int]

_MOST_LINES = 6
_ROUNDING = 1e-9
_PRICES = 8


@dataclass(frozen=True)
class _Best:
    """The best way to treat a rectangle: priced value, true cost, gold lost of the gold it holds, where to cut."""

    value: float
    cost: float
    lost: float
    gold: float
    kept: bool = False
    cut: tuple[Axis, int] | None = None


@dataclass(frozen=True)
class _Found:
    """The best treatment of the whole board at one price."""

    value: float
    cost: float
    lost: float
    cuts: tuple[Cut, ...]
    pieces: tuple[Piece, ...]


def guillotine_cuts(
    grid: BoardGrid, rules: CutRules, lines: tuple[FloatArray, FloatArray] | None = None
) -> Plan | None:
    """A cheap plan of cuts in both axes, and its bound; None where no plan at these lines keeps the rules.

    Args:
        grid: the board.
        rules: to keep.
        lines: where cuts may lie, mm, for both axes; those that hug gold or divide the board evenly if left out.
    """
    search = _Search(grid, rules, lines if lines is not None else candidate_lines(grid, rules))
    budget = rules.most_lost * grid.gold_total_mg * (1 + _ROUNDING)
    plan = search.best(math.inf)
    if plan is None and budget <= 0:
        return None
    found = [plan] if plan is not None else []
    bound = plan.cost if plan is not None and budget <= 0 else 0.0
    if budget > 0:
        scale = rules.cost_per_g * float(grid.mass_g.sum()) + rules.cost_per_cut
        low, high = 0.01 * scale / grid.gold_total_mg, 2 * scale / budget
        for _ in range(_PRICES):
            price = math.sqrt(low * high)
            priced = search.best(price)
            if priced is None:
                break
            bound = max(bound, priced.value - price * budget)
            if priced.lost <= budget:
                found.append(priced)
                high = price
            else:
                low = price
    if not found:
        return None
    best = min(found, key=lambda b: b.cost)
    total = grid.gold_total_mg
    return Plan(
        best.cuts,
        best.pieces,
        best.cost,
        min(bound, best.cost),
        best.lost / total if total > 0 else 0.0,
        rules.through,
    )


def candidate_lines(grid: BoardGrid, rules: CutRules) -> tuple[FloatArray, FloatArray]:
    """Lines that hug groups of gold at the clearance, and those that divide the board evenly to fit; (k,) each."""
    reach = rules.kerf_mm / 2 + rules.clearance_mm
    cells = math.ceil(reach / grid.step_mm - _ROUNDING)
    kernel = np.ones((2 * cells + 1, 2 * cells + 1), np.uint8)
    wanted_clear = unwanted(grid, rules.through) > 0
    mask = wanted_clear if wanted_clear.any() else grid.plating
    grown = cv2.dilate(np.pad(mask.astype(np.uint8), cells), kernel)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(grown)
    gold = np.bincount(labels.ravel(), np.pad(grid.gold_mg, cells).ravel(), count)[1:]
    groups = stats[1:][np.argsort(-gold, kind="stable")]
    return (
        _lines(grid, rules, groups[:, [cv2.CC_STAT_TOP, cv2.CC_STAT_HEIGHT]].tolist(), cells, 0),
        _lines(grid, rules, groups[:, [cv2.CC_STAT_LEFT, cv2.CC_STAT_WIDTH]].tolist(), cells, 1),
    )


def _lines(grid: BoardGrid, rules: CutRules, spans: list[list[int]], cells: int, axis: Axis) -> FloatArray:
    """Lines on one axis; ``spans`` are the first cell (of a grid padded by ``cells``) and length of each group."""
    size = grid.size_mm[axis]
    hugging = [edge for start, n in spans for edge in (start - cells, start - cells + n)]
    wanted = [e * grid.step_mm for e in hugging]
    parts = math.ceil(size / rules.fit.longest_mm - _ROUNDING)
    even = [round(size * i / parts / grid.step_mm) * grid.step_mm for i in range(1, parts)]
    near = rules.least_piece_mm + rules.kerf_mm / 2
    chosen: list[float] = []
    for line in [*even[: _MOST_LINES // 2], *wanted]:
        inside = near - _ROUNDING <= line <= size - near + _ROUNDING
        if inside and line not in chosen and len(chosen) < _MOST_LINES:
            chosen.append(line)
    return np.array(sorted(chosen))


class _Search:
    """The rectangles between given lines, with what each holds."""

    def __init__(self, grid: BoardGrid, rules: CutRules, lines: tuple[FloatArray, FloatArray]) -> None:
        self._rules = rules
        half, reach = rules.kerf_mm / 2, rules.kerf_mm / 2 + rules.clearance_mm
        self._starts = [[0.0, *(line + half).tolist(), s] for line, s in zip(lines, grid.size_mm, strict=True)]
        self._ends = [[0.0, *(line - half).tolist(), s] for line, s in zip(lines, grid.size_mm, strict=True)]
        gold, mass = Sums(grid.gold_mg, grid.step_mm), Sums(grid.mass_g, grid.step_mm)
        wanted_clear = unwanted(grid, rules.through)
        way = Sums(wanted_clear, grid.step_mm)
        edges = [np.array([*s, *e]) for s, e in zip(self._starts, self._ends, strict=True)]
        self._gold, self._mass = gold.at(*edges), mass.at(*edges)
        around = [np.array([*(line - reach), *(line + reach)]) for line in lines]
        self._way = (way.at(around[0], edges[1]), way.at(edges[0], around[1]).T)
        self._many = (len(lines[0]), len(lines[1]))
        # what lies on both sides of a cut counts, even where the cut has neither width nor clearance
        for axis, cells in enumerate((wanted_clear, wanted_clear.T)):
            parted = crossed(cells, lines[axis], grid.step_mm)
            self._way[axis][self._many[axis] :] += sums_along(parted, edges[1 - axis], grid.step_mm)

    def best(self, price: float) -> _Found | None:
        """The best treatment of the whole board when a lost milligram costs ``price``; infinite: none may be lost."""
        self._price = price
        self._tell = cache(self._solve)
        sides = (0, self._many[0] + 1, 0, self._many[1] + 1)
        whole = self._tell(*sides)
        if math.isinf(whole.value):
            return None
        cuts: list[Cut] = []
        pieces: list[Piece] = []
        self._follow(sides, cuts, pieces)
        return _Found(whole.value, whole.cost, whole.lost, tuple(cuts), tuple(pieces))

    def _follow(self, sides: _Sides, cuts: list[Cut], pieces: list[Piece]) -> None:
        way = self._tell(*sides)
        u0, u1, v0, v1 = self._sides(*sides)
        if way.cut is None:
            pieces.append(Piece(u0, u1, v0, v1, way.kept))
            return
        axis, m = way.cut
        low, high = (v0, v1) if axis == 0 else (u0, u1)
        cuts.append(Cut(axis, (self._starts[axis][m] + self._ends[axis][m]) / 2, low, high))
        for part in _parts(sides, axis, m):
            self._follow(part, cuts, pieces)

    def _sides(self, a: int, b: int, c: int, d: int) -> tuple[float, float, float, float]:
        return self._starts[0][a], self._ends[0][b], self._starts[1][c], self._ends[1][d]

    def _held(self, table: FloatArray, a: int, b: int, c: int, d: int) -> float:
        n, m = self._many[0] + 2, self._many[1] + 2
        return float(table[n + b, m + d] - table[a, m + d] - table[n + b, c] + table[a, c])

    def _priced(self, cost: float, lost: float) -> float:
        if math.isinf(self._price):
            return cost if lost <= _ROUNDING else math.inf
        return cost + self._price * lost

    def _solve(self, a: int, b: int, c: int, d: int) -> _Best:
        u0, u1, v0, v1 = self._sides(a, b, c, d)
        gold = self._held(self._gold, a, b, c, d)
        best = _Best(self._priced(0.0, gold), 0.0, gold, gold)
        if self._rules.fit.fits(u1 - u0, v1 - v0):
            cost = self._rules.cost_per_g * self._held(self._mass, a, b, c, d)
            if cost < best.value:
                best = _Best(cost, cost, 0.0, gold, kept=True)
        for m in range(a + 1, b):
            best = self._with_cut(best, 0, m, (a, b, c, d), gold)
        for m in range(c + 1, d):
            best = self._with_cut(best, 1, m, (a, b, c, d), gold)
        return best

    def _with_cut(self, best: _Best, axis: Axis, m: int, sides: _Sides, gold: float) -> _Best:
        a, b, c, d = sides
        other = (c, d) if axis == 0 else (a, b)
        count, way = self._many[axis], self._way[axis]
        shift = self._many[1 - axis] + 2
        span = [other[0], shift + other[1]]
        in_way = way[count + m - 1, span[1]] - way[m - 1, span[1]] - way[count + m - 1, span[0]] + way[m - 1, span[0]]
        least = self._rules.least_piece_mm - _ROUNDING
        start, end = self._starts[axis], self._ends[axis]
        lo, hi = (a, b) if axis == 0 else (c, d)
        too_small = end[m] - start[lo] < least or end[hi] - start[m] < least
        if in_way > _ROUNDING or too_small:
            return best
        first, second = _parts(sides, axis, m)
        one, two = self._tell(*first), self._tell(*second)
        dust = gold - one.gold - two.gold
        cost, lost = one.cost + two.cost + self._rules.cost_per_cut, one.lost + two.lost + dust
        value = self._priced(cost, lost)
        if one.value + two.value < math.inf and value < best.value - _ROUNDING:
            return _Best(value, cost, lost, gold, cut=(axis, m))
        return best


def _parts(sides: _Sides, axis: Axis, m: int) -> tuple[_Sides, _Sides]:
    a, b, c, d = sides
    return ((a, m, c, d), (m, b, c, d)) if axis == 0 else ((a, b, c, m), (a, b, m, d))
