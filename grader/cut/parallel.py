"""Parallel cuts across one axis, exactly.

Dynamic programming over the cell borders at which a cut is allowed. A state is the last cut; its labels are the
pairs (cost, gold lost) that no other label beats in both, so that the limit on lost gold is kept without rounding.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from grader.cut.grid import BoardGrid, FloatArray, Sums, crossed, unwanted
from grader.cut.plan import Cut, Piece, Plan
from grader.cut.rules import CutRules

# Among plans of equal cost the pieces should be alike; small enough never to outweigh a cost
_EVENNESS = 1e-10
_ROUNDING = 1e-9


def parallel_cuts(grid: BoardGrid, rules: CutRules) -> Plan | None:
    """The cheapest cuts across the first axis, at cell borders; None where no plan keeps the rules."""
    length, width = grid.size_mm
    lines = _allowed(grid, rules)
    half = rules.kerf_mm / 2
    starts = np.r_[0.0, lines + half]
    ends = np.r_[lines - half, length]
    gold_at = Sums(grid.gold_mg, grid.step_mm).at(np.r_[starts, ends], np.array([width]))[:, 0]
    mass_at = Sums(grid.mass_g, grid.step_mm).at(np.r_[starts, ends], np.array([width]))[:, 0]
    n = len(starts)
    gold_start, gold_end = gold_at[:n], gold_at[n:]
    mass_start, mass_end = mass_at[:n], mass_at[n:]
    budget = rules.most_lost * grid.gold_total_mg * (1 + _ROUNDING)

    # labels of all cuts so far: cost, gold lost, the cut they end at, the label before, whether the last is kept
    cost, lost, place = np.zeros(1), np.zeros(1), np.zeros(1, np.int64)
    before, kept = np.full(1, -1), np.zeros(1, bool)
    last = np.zeros(0, np.int64)
    fitting = _Fitting(rules, width)
    for j in range(n):  # a piece that ends at ends[j]
        size = ends[j] - starts[place]
        usable = np.flatnonzero(size >= min(rules.least_piece_mm, length) - _ROUNDING)
        at, size = place[usable], size[usable]
        fits = fitting(size)
        dust = gold_start[j + 1] - gold_end[j] if j + 1 < n else 0.0
        step = rules.cost_per_cut if j + 1 < n else 0.0
        even = _EVENNESS * size**2
        keep_cost = cost[usable] + rules.cost_per_g * (mass_end[j] - mass_start[at]) + step + even
        throw_lost = lost[usable] + gold_end[j] - gold_start[at] + dust
        new_cost = np.concatenate([keep_cost[fits], cost[usable] + step + even])
        new_lost = np.concatenate([lost[usable][fits] + dust, throw_lost])
        new_before = np.concatenate([usable[fits], usable])
        new_kept = np.arange(len(new_before)) < np.count_nonzero(fits)
        best = _unbeaten(new_cost, new_lost, budget)
        if j + 1 == n:
            last = np.arange(len(cost), len(cost) + len(best))
        cost, lost = np.concatenate([cost, new_cost[best]]), np.concatenate([lost, new_lost[best]])
        place = np.concatenate([place, np.full(len(best), j + 1)])
        before, kept = np.concatenate([before, new_before[best]]), np.concatenate([kept, new_kept[best]])
    if not len(last):
        return None
    label = int(last[np.argmin(cost[last])])
    lost_mg = float(lost[label])
    pieces: list[Piece] = []
    while label > 0:
        previous = int(before[label])
        pieces.append(
            Piece(float(starts[place[previous]]), float(ends[place[label] - 1]), 0.0, width, bool(kept[label]))
        )
        label = previous
    pieces.reverse()
    cuts = tuple(Cut(0, (a.u1_mm + b.u0_mm) / 2, 0.0, width) for a, b in pairwise(pieces))
    total = grid.gold_total_mg
    mass = Sums(grid.mass_g, grid.step_mm)
    paid = rules.cost_per_cut * len(cuts) + rules.cost_per_g * sum(
        mass.over(p.u0_mm, p.u1_mm, p.v0_mm, p.v1_mm) for p in pieces if p.kept
    )
    return Plan(cuts, tuple(pieces), paid, paid, lost_mg / total if total > 0 else 0.0, rules.through)


def _allowed(grid: BoardGrid, rules: CutRules) -> FloatArray:
    """Cell borders at which a cut keeps clear of what it must, and of the board's ends."""
    length, _ = grid.size_mm
    near = rules.least_piece_mm + rules.kerf_mm / 2
    lines = np.asarray(np.arange(1, grid.gold_mg.shape[0]) * grid.step_mm, np.float64)
    lines = lines[(lines >= near - _ROUNDING) & (lines <= length - near + _ROUNDING)]
    reach = rules.kerf_mm / 2 + rules.clearance_mm
    wanted_clear = unwanted(grid, rules.through)
    in_way = wanted_clear.sum(1)
    along = np.r_[0.0, np.cumsum(in_way)]
    borders = np.arange(len(along)) * grid.step_mm
    touched = np.interp(lines + reach, borders, along) - np.interp(lines - reach, borders, along)
    parted = crossed(wanted_clear, lines, grid.step_mm).any(axis=1)
    return np.asarray(lines[(touched <= _ROUNDING) & ~parted])


class _Fitting:
    """Which pieces of one width fit. A piece shorter than one that fits does, too: few sizes need to be told."""

    def __init__(self, rules: CutRules, width: float) -> None:
        self._rules, self._width = rules, width
        self._fit, self._none = -np.inf, np.inf

    def __call__(self, sizes: FloatArray) -> NDArray[np.bool_]:
        for size in sizes[(sizes > self._fit) & (sizes < self._none)].tolist():
            if self._fit < size < self._none:
                if self._rules.fit.fits(size, self._width):
                    self._fit = size
                else:
                    self._none = size
        return np.asarray(sizes <= self._fit)


def _unbeaten(cost: FloatArray, lost: FloatArray, budget: float) -> NDArray[np.int64]:
    """Indices of the labels within the budget that no other one equals or beats in both."""
    inside = np.flatnonzero(lost <= budget)
    if not len(inside):
        return inside
    order = inside[np.lexsort((lost[inside], cost[inside]))]
    least = np.minimum.accumulate(lost[order])
    better = np.ones(len(order), bool)
    better[1:] = lost[order][1:] < least[:-1]
    return np.asarray(order[better])
