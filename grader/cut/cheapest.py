"""The cheapest of what the ways of cutting find."""

from __future__ import annotations

from dataclasses import replace

from grader.cut.grid import BoardGrid
from grader.cut.guillotine import guillotine_cuts
from grader.cut.parallel import parallel_cuts
from grader.cut.plan import Plan
from grader.cut.rules import CutRules


def plan_cuts(grid: BoardGrid, rules: CutRules) -> Plan | None:
    """The cheapest plan that parallel cuts across either axis, or guillotine cuts in both, give; None if none fits.

    The bound says what no plan of those kinds, at the lines that each searched, can undercut.
    """
    along = parallel_cuts(grid.turned(), rules)
    plans = [parallel_cuts(grid, rules), along.turned() if along is not None else None, guillotine_cuts(grid, rules)]
    found = [p for p in plans if p is not None]
    if not found:
        return None
    best = min(found, key=lambda p: (p.cost, len(p.cuts)))
    return replace(best, bound=min(p.bound for p in found))
