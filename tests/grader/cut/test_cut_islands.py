"""Cuts among islands: boards with an edge row and scattered pads, against a plain search over all lines."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from grader.cut import BoardGrid, CutRules, Vessel, plan_cuts
from grader.cut.islands import islands, joined

STEP = 0.5


def board(seed: int, pads: int) -> BoardGrid:
    """An edge row along a long side, and pads scattered over the rest, all the same gold."""
    rng = np.random.default_rng(seed)
    n, m = int(rng.integers(120, 190)), int(rng.integers(80, 130))
    gold = np.zeros((n, m))
    gold[int(rng.integers(4, 20)) : n - int(rng.integers(4, 40)), m - 10 : m - 1] = 0.002
    while pads:
        a, b = (int(rng.integers(4, 9)) for _ in range(2))
        u, v = int(rng.integers(2, n - a - 2)), int(rng.integers(2, m - b - 24))
        if not gold[max(0, u - 4) : u + a + 4, max(0, v - 4) : v + b + 4].any():
            gold[u : u + a, v : v + b] = 0.002
            pads -= 1
    return BoardGrid(STEP, gold, np.full((n, m), 0.0009), gold > 0, gold > 0)


def least_without_loss(grid: BoardGrid, rules: CutRules) -> float:
    """What the cheapest plan that loses no gold costs, with cuts at every line at which gold begins or ends."""
    n, m = grid.gold_mg.shape
    near, reach = round(rules.least_piece_mm / STEP), round(rules.reach_mm / STEP)
    gold, mass = (
        np.pad(cells.cumsum(0).cumsum(1), ((1, 0), (1, 0))) for cells in (grid.plating.astype(np.int64), grid.mass_g)
    )

    def inside(table: np.ndarray, a: int, b: int, c: int, d: int) -> float:
        return float(table[b, d] - table[a, d] - table[b, c] + table[a, c])

    def edges(cells: np.ndarray) -> list[int]:
        """Lines at the clearance from where gold begins or ends across the first axis."""
        changes = np.flatnonzero((cells[1:] != cells[:-1]).any(axis=1)) + 1
        found = {int(e) + s for e in changes for s in (-reach, reach)} | {near, len(cells) - near}
        return sorted(e for e in found if near <= e <= len(cells) - near)

    us, vs = edges(grid.plating), edges(grid.plating.T)

    @cache
    def least(a: int, b: int, c: int, d: int) -> float:
        if inside(gold, a, b, c, d) == 0:
            return 0.0
        best = math.inf
        if rules.fit.fits((b - a) * STEP, (d - c) * STEP):
            best = rules.cost_per_g * inside(mass, a, b, c, d)
        if best <= rules.cost_per_cut:
            return best
        for u in us:
            if a + near <= u <= b - near and inside(gold, u - reach, u + reach, c, d) == 0:
                best = min(best, least(a, u, c, d) + least(u, b, c, d) + rules.cost_per_cut)
        for v in vs:
            if c + near <= v <= d - near and inside(gold, a, b, v - reach, v + reach) == 0:
                best = min(best, least(a, b, c, v) + least(a, b, v, d) + rules.cost_per_cut)
        return best

    return least(0, n, 0, m)


@pytest.mark.parametrize("pads", [1, 4, 6])
@pytest.mark.parametrize("cost_per_cut", [0.03, 0.01])
@pytest.mark.parametrize("seed", range(3))
def test_no_plan_among_islands_is_cheaper(seed: int, pads: int, cost_per_cut: float) -> None:
    grid = board(100 * pads + seed, pads)
    rules = CutRules(Vessel(100, 100), most_lost=0.0, cost_per_cut=cost_per_cut)
    plan, expected = plan_cuts(grid, rules), least_without_loss(grid, rules)
    assert plan is not None
    assert plan.bound <= expected + 1e-9
    assert plan.cost <= expected + 1e-9
    assert plan.cost <= 1.03 * plan.bound
    if cost_per_cut == 0.03:
        assert plan.is_optimal


def test_with_more_islands_than_can_be_searched_the_bound_says_so() -> None:
    grid = board(7, 24)
    rules = CutRules(Vessel(100, 100), most_lost=0.0)
    plan = plan_cuts(grid, rules)
    assert plan is not None
    assert plan.bound <= plan.cost < 1.25 * plan.bound


def test_a_pad_that_may_be_lost_is_thrown_only_if_that_is_cheaper() -> None:
    gold = np.zeros((160, 100))
    gold[10:150, 90:99] = 0.002
    gold[20:24, 10:14] = 0.002  # 16 of 1276 cells, 1.25 %
    grid = BoardGrid(STEP, gold, np.full(gold.shape, 0.0009), gold > 0, gold > 0)
    kept, thrown = (plan_cuts(grid, CutRules(Vessel(100, 100), most_lost=share)) for share in (0.012, 0.013))
    assert kept is not None
    assert thrown is not None
    assert kept.lost == 0
    assert thrown.lost == pytest.approx(16 / 1276)
    assert len(thrown.cuts) == 1
    assert thrown.cost < kept.cost
    assert kept.is_optimal
    assert thrown.is_optimal


@pytest.mark.parametrize("reach", [0.0, 0.5, 0.8, 2.0])
@pytest.mark.parametrize("seed", range(10))
def test_islands_are_what_no_line_parts(seed: int, reach: float) -> None:
    """Every cell is in a box; between two boxes there is room for a cut on one of the axes."""
    rng = np.random.default_rng(seed)
    cells = rng.random((30, 20)) < rng.choice([0.01, 0.05])
    boxes = islands(cells, STEP, reach)
    for u, v in np.argwhere(cells) * STEP:
        held = (boxes[:, 0] <= u) & (u + STEP <= boxes[:, 1]) & (boxes[:, 2] <= v) & (v + STEP <= boxes[:, 3])
        assert held.sum() == 1
    for i, (u0, u1, v0, v1) in enumerate(boxes):
        for a0, a1, b0, b1 in boxes[i + 1 :]:
            assert max(u0 - a1, a0 - u1, v0 - b1, b0 - v1) >= 2 * reach - 1e-9
    assert np.array_equal(joined(boxes, 2 * reach), boxes)


def test_a_board_without_gold_has_no_islands() -> None:
    assert islands(np.zeros((5, 5), bool), STEP, 1.0).shape == (0, 4)
