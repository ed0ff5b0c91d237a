"""Guillotine cuts in two axes: each goes through a whole piece.

Dynamic programming over the rectangles between a few candidate lines. Gold that may be lost enters by a price λ for
each milligram; for every λ ≥ 0, least(cost + λ × lost) - λ × allowed is a lower bound on the cost of any plan that
keeps the limit (Lagrangian relaxation), which says how far the plan found may be from the best at these lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.inputs import FloatArray
from grader.cut.grid import BoardGrid, Sums, crossed, sums_along, unwanted
from grader.cut.plan import Axis, Cut, Piece, Plan
from grader.cut.rules import CutRules

_Sides = tuple[int, int, int, int]

_MOST_LINES = 6
_ROUNDING = 1e-9
_PRICES = 8
_KEPT, _THROWN = -1, -2


@dataclass(frozen=True)
class _Rectangle:
    """A rectangle between lines: its gold, what keeping it costs (inf: it does not fit), and how it may be cut.

    ``cuts`` are (axis, line, index of the first part, of the second); parts come before the whole in their list.
    """

    sides: _Sides
    gold: float
    keep_cost: float
    cuts: tuple[tuple[Axis, int, int, int], ...]


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
        gold, mass = grid.gold_sums, grid.mass_sums
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
        self._rectangles = self._reached()

    def best(self, price: float) -> _Found | None:
        """The best treatment of the whole board when a lost milligram costs ``price``; infinite: none may be lost."""
        per_cut = self._rules.cost_per_cut
        # of each rectangle: priced value, true cost, gold lost, and the cut that leads there, or kept, or thrown
        values: list[float] = []
        costs: list[float] = []
        losses: list[float] = []
        ways: list[int] = []
        for rectangle in self._rectangles:
            cost, lost, way = 0.0, rectangle.gold, _THROWN
            value = _priced(cost, lost, price)
            if rectangle.keep_cost < value:
                value, cost, lost, way = rectangle.keep_cost, rectangle.keep_cost, 0.0, _KEPT
            for k, (_, _, one, two) in enumerate(rectangle.cuts):
                dust = rectangle.gold - self._rectangles[one].gold - self._rectangles[two].gold
                cut_cost, cut_lost = costs[one] + costs[two] + per_cut, losses[one] + losses[two] + dust
                cut_value = _priced(cut_cost, cut_lost, price)
                if values[one] + values[two] < math.inf and cut_value < value - _ROUNDING:
                    value, cost, lost, way = cut_value, cut_cost, cut_lost, k
            values.append(value)
            costs.append(cost)
            losses.append(lost)
            ways.append(way)
        if math.isinf(values[-1]):
            return None
        cuts: list[Cut] = []
        pieces: list[Piece] = []
        self._follow(len(ways) - 1, ways, cuts, pieces)
        return _Found(values[-1], costs[-1], losses[-1], tuple(cuts), tuple(pieces))

    def _follow(self, at: int, ways: list[int], cuts: list[Cut], pieces: list[Piece]) -> None:
        rectangle = self._rectangles[at]
        u0, u1, v0, v1 = self._sides(*rectangle.sides)
        if ways[at] in (_THROWN, _KEPT):
            pieces.append(Piece(u0, u1, v0, v1, ways[at] == _KEPT))
            return
        axis, m, *parts = rectangle.cuts[ways[at]]
        low, high = (v0, v1) if axis == 0 else (u0, u1)
        cuts.append(Cut(axis, (self._starts[axis][m] + self._ends[axis][m]) / 2, low, high))
        for part in parts:
            self._follow(part, ways, cuts, pieces)

    def _sides(self, a: int, b: int, c: int, d: int) -> tuple[float, float, float, float]:
        return self._starts[0][a], self._ends[0][b], self._starts[1][c], self._ends[1][d]

    def _held(self, table: FloatArray, a: int, b: int, c: int, d: int) -> float:
        n, m = self._many[0] + 2, self._many[1] + 2
        return float(table[n + b, m + d] - table[a, m + d] - table[n + b, c] + table[a, c])

    def _reached(self) -> list[_Rectangle]:
        """The rectangles that permitted cuts lead to, the whole board last: the same at any price."""
        found: list[_Rectangle] = []
        index: dict[_Sides, int] = {}

        def add(sides: _Sides) -> int:
            if sides not in index:
                a, b, c, d = sides
                lines: list[tuple[Axis, int]] = [(0, m) for m in range(a + 1, b)] + [(1, m) for m in range(c + 1, d)]
                permitted = [(axis, m, *_parts(sides, axis, m)) for axis, m in lines if self._may_cut(axis, m, sides)]
                cuts = tuple((axis, m, add(first), add(second)) for axis, m, first, second in permitted)
                index[sides] = len(found)
                found.append(_Rectangle(sides, self._held(self._gold, *sides), self._keep_cost(sides), cuts))
            return index[sides]

        add((0, self._many[0] + 1, 0, self._many[1] + 1))
        return found

    def _keep_cost(self, sides: _Sides) -> float:
        u0, u1, v0, v1 = self._sides(*sides)
        if not self._rules.fit.fits(u1 - u0, v1 - v0):
            return math.inf
        return self._rules.cost_per_g * self._held(self._mass, *sides)

    def _may_cut(self, axis: Axis, m: int, sides: _Sides) -> bool:
        """Whether a cut stays clear of what it must, and leaves no part too small to be held."""
        a, b, c, d = sides
        (lo, hi), other = ((a, b), (c, d)) if axis == 0 else ((c, d), (a, b))
        count, way = self._many[axis], self._way[axis]
        shift = self._many[1 - axis] + 2
        span = [other[0], shift + other[1]]
        in_way = way[count + m - 1, span[1]] - way[m - 1, span[1]] - way[count + m - 1, span[0]] + way[m - 1, span[0]]
        least = self._rules.least_piece_mm - _ROUNDING
        start, end = self._starts[axis], self._ends[axis]
        return bool(in_way <= _ROUNDING and end[m] - start[lo] >= least and end[hi] - start[m] >= least)


def _priced(cost: float, lost: float, price: float) -> float:
    if math.isinf(price):
        return cost if lost <= _ROUNDING else math.inf
    return cost + price * lost


def _parts(sides: _Sides, axis: Axis, m: int) -> tuple[_Sides, _Sides]:
    a, b, c, d = sides
    return ((a, m, c, d), (m, b, c, d)) if axis == 0 else ((a, b, c, m), (a, b, m, d))
