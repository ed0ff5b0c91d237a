"""Parallel cuts across one axis, exactly.

Dynamic programming over the cell borders at which a cut is allowed. A state is the last cut; its labels are the
pairs (cost, gold lost) that no cheaper label equals or beats, so the limit on lost gold is kept without rounding.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.cut.grid import BoardGrid, crossed, sum_over, unwanted
from grader.cut.plan import Cut, Piece, Plan
from grader.cut.rules import CutRules

# Among plans of equal cost the pieces should be alike; small enough never to outweigh a cost
_EVENNESS = 1e-10
_ROUNDING = 1e-9


def parallel_cuts(grid: BoardGrid, rules: CutRules) -> Plan | None:
    """The cheapest cuts across the first axis, at cell borders; None if no plan keeps the rules."""
    length, width = grid.size_mm
    lines = _allowed(grid, rules)
    half = rules.kerf_mm / 2
    starts = np.r_[0.0, lines + half]
    ends = np.r_[lines - half, length]
    borders = np.r_[starts, ends]
    gold_at = grid.gold_sums.at(borders, np.array([width]))[:, 0]
    mass_at = grid.mass_sums.at(borders, np.array([width]))[:, 0]
    n = len(starts)
    gold_start, gold_end = gold_at[:n], gold_at[n:]
    mass_start, mass_end = mass_at[:n], mass_at[n:]
    budget = rules.allowed_mg(grid.gold_total_mg)

    # labels of all cuts so far, in the order of their places: cost and gold lost, the cut they end at, the label
    # before, whether the last piece is kept
    cost, lost, place = np.zeros(1), np.zeros(1), np.zeros(1, np.int64)
    before, kept = [-1], [False]
    last = range(0)
    usable, first = 0, 0  # labels that leave a piece large enough end there; those whose piece fits begin there
    least = min(rules.least_piece_mm, length) - _ROUNDING
    for j in range(n):  # a piece that ends at ends[j]
        while usable < len(cost) and ends[j] - starts[place[usable]] >= least:
            usable += 1
        while first < usable and not rules.fit.fits(ends[j] - starts[place[first]], width):
            first += 1
        end = j + 1 == n
        dust = 0.0 if end else gold_start[j + 1] - gold_end[j]
        at = place[:usable]
        throw_cost = cost[:usable] + (0.0 if end else rules.cost_per_cut) + _EVENNESS * (ends[j] - starts[at]) ** 2
        throw_lost = lost[:usable] + (gold_end[j] + dust) - gold_start[at]
        keep_cost = throw_cost[first:] + rules.cost_per_g * (mass_end[j] - mass_start[at[first:]])
        new_cost = np.concatenate([keep_cost, throw_cost])
        new_lost = np.concatenate([lost[first:usable] + dust, throw_lost])
        best = _unbeaten(new_cost, new_lost, budget)
        if end:
            last = range(len(cost), len(cost) + len(best))
        cost, lost = np.concatenate([cost, new_cost[best]]), np.concatenate([lost, new_lost[best]])
        place = np.concatenate([place, np.full(len(best), j + 1)])
        for label in best.tolist():
            is_kept = label < len(keep_cost)
            before.append(label + first if is_kept else label - len(keep_cost))
            kept.append(is_kept)
    if not last:
        return None
    label = min(last, key=lambda i: (float(cost[i]), float(lost[i])))
    lost_mg = float(lost[label])
    pieces: list[Piece] = []
    while label > 0:
        previous = before[label]
        pieces.append(Piece(float(starts[place[previous]]), float(ends[place[label] - 1]), 0.0, width, kept[label]))
        label = previous
    pieces.reverse()
    cuts = tuple(Cut(0, (a.u1_mm + b.u0_mm) / 2, 0.0, width) for a, b in pairwise(pieces))
    total = grid.gold_total_mg
    paid = rules.cost_per_cut * len(cuts) + rules.cost_per_g * sum(
        sum_over(grid.mass_g, grid.step_mm, (p.u0_mm, p.u1_mm, p.v0_mm, p.v1_mm)) for p in pieces if p.kept
    )
    return Plan(cuts, tuple(pieces), paid, paid, lost_mg / total if total > 0 else 0.0, rules.through)


def _allowed(grid: BoardGrid, rules: CutRules) -> FloatArray:
    """Cell borders at which a cut keeps clear of what it must, and of the board's ends."""
    length, _ = grid.size_mm
    near = rules.least_piece_mm + rules.kerf_mm / 2
    lines = np.asarray(np.arange(1, grid.gold_mg.shape[0]) * grid.step_mm, np.float64)
    lines = lines[(lines >= near - _ROUNDING) & (lines <= length - near + _ROUNDING)]
    reach = rules.reach_mm
    wanted_clear = unwanted(grid, rules.through)
    in_way = wanted_clear.sum(1)
    along = np.r_[0.0, np.cumsum(in_way)]
    borders = np.arange(len(along)) * grid.step_mm
    touched = np.interp(lines + reach, borders, along) - np.interp(lines - reach, borders, along)
    parted = crossed(wanted_clear, lines, grid.step_mm).any(axis=1)
    return np.asarray(lines[(touched <= _ROUNDING) & ~parted])


def _unbeaten(cost: FloatArray, lost: FloatArray, budget: float) -> NDArray[np.int64]:
    """Indices of the labels within the budget that no cheaper one equals or beats in gold lost."""
    order = np.argsort(cost)
    by_cost = lost[order]
    better = by_cost <= budget
    better[1:] &= by_cost[1:] < np.minimum.accumulate(by_cost)[:-1]
    return np.asarray(order[better])
