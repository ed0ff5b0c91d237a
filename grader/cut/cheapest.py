"""The cheapest of what the ways of cutting find."""

from __future__ import annotations

import math
from dataclasses import replace

from grader.cut.bound import least_cost
from grader.cut.grid import BoardGrid
from grader.cut.guillotine import Search
from grader.cut.lines import Places, candidate_places
from grader.cut.loss import least_within
from grader.cut.parallel import parallel_cuts
from grader.cut.plan import Plan
from grader.cut.rules import CutRules
from grader.cut.sides import Sides


def guillotine_cuts(grid: BoardGrid, rules: CutRules, places: Places) -> Plan | None:
    """The cheapest plan found of cuts in both axes; None if no plan at these places keeps the rules.

    Its bound says what no plan at these places can undercut.
    """
    one, two = (Sides.of(own, size, rules.kerf_mm) for own, size in zip(places.lines, grid.size_mm, strict=True))
    search, total = Search(grid, rules, (one, two), places.boxes), grid.gold_total_mg
    found = least_within(search, grid, places.boxes, rules.allowed_mg(total))
    if not found.plans:
        return None
    best = min(found.plans, key=lambda plan: (plan.cost, len(plan.cuts)))
    lost = best.lost / total if total > 0 else 0.0
    return Plan(best.cuts, best.pieces, best.cost, min(found.bound, best.cost), lost, rules.through)


def plan_cuts(grid: BoardGrid, rules: CutRules, cheaper_than: float = math.inf) -> Plan | None:
    """The cheapest plan that parallel cuts across either axis, or guillotine cuts in both, give; None if none fits.

    The bound says what no plan of straight cuts through whole pieces can undercut, wherever they lie.

    Args:
        grid: the board.
        rules: to keep.
        cheaper_than: no plan is wanted that costs as much.
    """
    places = candidate_places(grid, rules)
    if math.isfinite(cheaper_than) and least_cost(grid, rules, places, cheaper_than) >= cheaper_than:
        return None
    along = parallel_cuts(grid.turned(), rules)
    plans = [
        parallel_cuts(grid, rules),
        along.turned() if along is not None else None,
        guillotine_cuts(grid, rules, places),
    ]
    found = [p for p in plans if p is not None and p.cost < cheaper_than]
    if not found:
        return None
    best = min(found, key=lambda p: (p.cost, len(p.cuts)))
    return replace(best, bound=min(best.cost, least_cost(grid, rules, places, best.cost)))
