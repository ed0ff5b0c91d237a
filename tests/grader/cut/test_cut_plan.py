"""Cut plans against brute force, and what every plan must keep."""

import itertools
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import UsageError
from grader.cut import BoardGrid, Cut, CutRules, LongestPiece, Plan, Vessel, plan_cuts
from grader.cut.cheapest import guillotine_cuts
from grader.cut.grid import sum_over
from grader.cut.islands import board_islands
from grader.cut.lines import Places
from grader.cut.parallel import parallel_cuts

STEP = 1.0


def grid_of(gold: np.ndarray, mass: np.ndarray | None = None) -> BoardGrid:
    solid = np.full(gold.shape, 0.01) if mass is None else mass
    return BoardGrid(STEP, gold, solid, gold > 0, gold > 0)


def random_board(seed: int, shape: tuple[int, int]) -> BoardGrid:
    rng = np.random.default_rng(seed)
    gold = np.where(rng.random(shape) < 0.25, rng.choice([0.002, 1.0, 2.0], shape), 0.0)
    return grid_of(gold, rng.choice([0.0, 0.01, 0.02], shape, p=[0.1, 0.6, 0.3]))


def brute_parallel(grid: BoardGrid, rules: CutRules) -> float:
    """Every set of cuts and every choice of pieces; kerf and clearance in whole cells of 1 mm."""
    n = grid.gold_mg.shape[0]
    gold, mass, plated = grid.gold_mg.sum(1), grid.mass_g.sum(1), grid.plating.any(1)
    reach = int(rules.kerf_mm / 2 + rules.clearance_mm)
    half = int(rules.kerf_mm / 2)
    parted = [False, *(grid.plating[1:] & grid.plating[:-1]).any(1)]
    free = [p for p in range(1, n) if not plated[max(0, p - reach) : p + reach].any() and not parted[p]]
    best = np.inf
    for k in range(len(free) + 1):
        for cuts in itertools.combinations(free, k):
            spans = list(zip([0, *(c + half for c in cuts)], [*(c - half for c in cuts), n], strict=True))
            if any(b - a < rules.least_piece_mm for a, b in spans):
                continue
            for kept in itertools.product([True, False], repeat=len(spans)):
                inside = [s for s, keep in zip(spans, kept, strict=True) if keep]
                if sum(gold[a:b].sum() for a, b in inside) < (1 - rules.most_lost) * gold.sum() - 1e-9:
                    continue
                if all(rules.fit.fits(b - a, grid.size_mm[1]) for a, b in inside):
                    cost = rules.cost_per_cut * k + rules.cost_per_g * sum(mass[a:b].sum() for a, b in inside)
                    best = min(best, cost)
    return best


@pytest.mark.parametrize("seed", range(30))
def test_parallel_cuts_cost_what_brute_force_finds(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    grid = random_board(seed, (10, 2))
    rules = CutRules(
        fit=LongestPiece(float(rng.choice([4, 6, 10]))),
        most_lost=float(rng.choice([0.0, 0.005, 0.3])),
        kerf_mm=float(rng.choice([0, 2])),
        clearance_mm=float(rng.choice([0, 1])),
        least_piece_mm=1.0,
        cost_per_g=1.0,
        cost_per_cut=float(rng.choice([0.0, 0.02, 0.05])),
    )
    plan = parallel_cuts(grid, rules)
    expected = brute_parallel(grid, rules)
    assert (plan.cost if plan is not None else np.inf) == pytest.approx(expected, abs=1e-9)


def brute_guillotine(grid: BoardGrid, rules: CutRules) -> float:
    """All pairs (cost, gold lost) that any sequence of guillotine cuts at the cell borders can give."""
    half, reach, least = int(rules.kerf_mm / 2), int(rules.reach_mm), int(rules.least_piece_mm)

    def splits(own: np.ndarray, n: int) -> list[int]:
        """Places across the first axis at which a piece may be cut."""
        found = []
        for m in range(least + half, n - least - half + 1):
            near = own[max(0, m - reach) : m + reach].any()
            if not near and not (own[m - 1] & own[m]).any():
                found.append(m)
        return found

    @cache
    def pairs(a: int, b: int, c: int, d: int) -> frozenset[tuple[float, float]]:
        gold, mass = grid.gold_mg[a:b, c:d].sum(), grid.mass_g[a:b, c:d].sum()
        found = {(0.0, round(float(gold), 9))}
        if rules.fit.fits(b - a, d - c):
            found.add((round(rules.cost_per_g * float(mass), 9), 0.0))
        own = grid.plating[a:b, c:d]
        parts = [((a, a + m - half, c, d), (a + m + half, b, c, d)) for m in splits(own, b - a)]
        parts += [((a, b, c, c + m - half), (a, b, c + m + half, d)) for m in splits(own.T, d - c)]
        for one, two in parts:
            dust = float(gold - grid.gold_mg[slice(*one[:2]), slice(*one[2:])].sum())
            dust -= float(grid.gold_mg[slice(*two[:2]), slice(*two[2:])].sum())
            for p, q in itertools.product(pairs(*one), pairs(*two)):
                found.add((round(p[0] + q[0] + rules.cost_per_cut, 9), round(p[1] + q[1] + dust, 9)))
        return frozenset(p for p in found if not any(q != p and q[0] <= p[0] and q[1] <= p[1] for q in found))

    budget = rules.most_lost * grid.gold_total_mg + 1e-9
    n, m = grid.gold_mg.shape
    return min((c for c, lost in pairs(0, n, 0, m) if lost <= budget), default=np.inf)


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("most_lost", [0.0, 0.1])
def test_guillotine_cuts_against_brute_force(seed: int, most_lost: float) -> None:
    grid = random_board(seed, (5, 4))
    rules = CutRules(
        fit=LongestPiece(3.0), most_lost=most_lost, clearance_mm=0.0, least_piece_mm=1.0, cost_per_g=1.0,
        cost_per_cut=0.01,
    )  # fmt: skip
    places = Places(board_islands(grid, rules), (np.arange(1.0, 5), np.arange(1.0, 4)), complete=True)
    plan = guillotine_cuts(grid, rules, places)
    expected = brute_guillotine(grid, rules)
    if plan is None:
        assert expected == np.inf
        return
    assert plan.bound <= expected + 1e-6 <= plan.cost + 2e-6
    if most_lost == 0:
        assert plan.cost == pytest.approx(expected, abs=1e-6)
        assert plan.is_optimal


@pytest.mark.parametrize("seed", range(60))
def test_no_plan_undercuts_the_bound(seed: int) -> None:
    """Uneven boards with holes, saws, clearances, pieces that must fit, gold that may be lost."""
    rng = np.random.default_rng(5000 + seed)
    grid = random_board(seed, (int(rng.integers(5, 9)), int(rng.integers(4, 7))))
    rules = CutRules(
        fit=LongestPiece(float(rng.choice([3, 4, 5, 9]))),
        most_lost=float(rng.choice([0.0, 0.05, 0.3])),
        kerf_mm=float(rng.choice([0, 0, 2])),
        clearance_mm=float(rng.choice([0, 0, 1])),
        least_piece_mm=1.0,
        cost_per_g=1.0,
        cost_per_cut=float(rng.choice([0.0, 0.005, 0.02])),
    )
    plan, expected = plan_cuts(grid, rules), brute_guillotine(grid, rules)
    assert plan is not None or expected == np.inf
    if plan is not None:
        check(grid, rules, plan)
        assert plan.bound <= expected + 1e-9
        assert plan.cost <= expected + max(0.1 * expected, 1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_on_an_even_board_that_fits_nothing_is_cheaper_than_the_plan(seed: int) -> None:
    rng = np.random.default_rng(7000 + seed)
    gold = np.where(rng.random((9, 7)) < 0.12, rng.choice([0.1, 1.0, 2.0], (9, 7)), 0.0)
    grid = grid_of(gold)
    rules = CutRules(
        fit=LongestPiece(9.0), most_lost=float(rng.choice([0.0, 0.05, 0.2])), clearance_mm=0.0, least_piece_mm=1.0,
        cost_per_g=1.0, cost_per_cut=float(rng.choice([0.001, 0.02, 0.05])),
    )  # fmt: skip
    plan = plan_cuts(grid, rules)
    assert plan is not None
    check(grid, rules, plan)
    assert plan.cost == pytest.approx(brute_guillotine(grid, rules), abs=1e-9)
    assert plan.is_optimal


def test_cuts_part_islands_that_only_a_staircase_parts() -> None:
    """Two bars like a T laid apart: one line parts them only after another has cut the board."""
    gold = np.zeros((30, 20))
    gold[4:6, 2:18] = 1.0
    gold[8:26, 2:4] = 1.0
    plan = plan_cuts(grid_of(gold), CutRules(LongestPiece(40), 0.0, clearance_mm=0.5, cost_per_cut=0.001))
    assert plan is not None
    assert plan.is_optimal
    assert {c.axis for c in plan.cuts} == {0, 1}
    assert sum(p.sides_mm[0] * p.sides_mm[1] for p in plan.kept) == pytest.approx(3 * 20 + 20 * 4.5)


def parts_any(cells: np.ndarray, cut: Cut) -> bool:
    """Whether a cut at a cell border has such cells on both of its sides."""
    along, at = (cells, cut.at_mm) if cut.axis == 0 else (cells.T, cut.at_mm)
    if at % STEP:
        return False  # a saw's middle within a cell: what it may not touch is told by its width
    i, span = round(at / STEP), slice(round(cut.from_mm / STEP), round(cut.to_mm / STEP))
    return bool((along[i - 1, span] & along[i, span]).any())


def check(grid: BoardGrid, rules: CutRules, plan: Plan) -> None:
    gold, mass, plated = grid.gold_mg, grid.mass_g, grid.plating.astype(float)
    rectangles = [(p.u0_mm, p.u1_mm, p.v0_mm, p.v1_mm) for p in plan.pieces]
    kept_gold = sum(sum_over(gold, STEP, r) for r, p in zip(rectangles, plan.pieces, strict=True) if p.kept)
    assert kept_gold >= (1 - rules.most_lost) * grid.gold_total_mg - 1e-9
    assert kept_gold == pytest.approx((1 - plan.lost) * grid.gold_total_mg)
    assert all(rules.fit.fits(*p.sides_mm) for p in plan.kept)
    half, clear = rules.kerf_mm / 2, rules.clearance_mm
    kerfs = []
    for cut in plan.cuts:
        span = (cut.at_mm - half, cut.at_mm + half)
        wide = (span[0] - clear, span[1] + clear)
        kerfs.append((*span, cut.from_mm, cut.to_mm) if cut.axis == 0 else (cut.from_mm, cut.to_mm, *span))
        near = (*wide, cut.from_mm, cut.to_mm) if cut.axis == 0 else (cut.from_mm, cut.to_mm, *wide)
        assert sum_over(plated, STEP, near) == pytest.approx(0, abs=1e-9)
        assert not parts_any(grid.plating, cut)
    for cells, total in ((gold, grid.gold_mg.sum()), (mass, grid.mass_g.sum())):
        assert sum(sum_over(cells, STEP, r) for r in [*rectangles, *kerfs]) == pytest.approx(total)
    pay = rules.cost_per_cut * len(plan.cuts)
    pay += rules.cost_per_g * sum(
        sum_over(mass, STEP, r) for r, p in zip(rectangles, plan.pieces, strict=True) if p.kept
    )
    assert plan.cost == pytest.approx(pay)
    assert plan.bound <= plan.cost + 1e-9


@settings(max_examples=60, deadline=None)
@given(
    st.integers(0, 10**6),
    st.sampled_from([0.0, 1.0, 2.0]),
    st.sampled_from([0.0, 0.5, 2.0]),
    st.sampled_from([0.0, 0.005, 0.2]),
    st.sampled_from([12.0, 25.0, 50.0]),
)
def test_every_plan_keeps_its_rules(seed: int, kerf: float, clear: float, lost: float, longest: float) -> None:
    rng = np.random.default_rng(seed)
    gold = np.zeros((40, 15))
    for _ in range(int(rng.integers(1, 5))):
        u, v = rng.integers(0, 36), rng.integers(0, 12)
        gold[u : u + rng.integers(1, 6), v : v + rng.integers(1, 4)] = rng.random()
    grid = grid_of(gold, np.where(rng.random((40, 15)) < 0.9, 0.01, 0.0))
    rules = CutRules(LongestPiece(longest), lost, kerf, clear, cost_per_g=1.0, cost_per_cut=0.2)
    plan = plan_cuts(grid, rules)
    if plan is not None:
        check(grid, rules, plan)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 2.0]), st.sampled_from([0.0, 1.0]))
def test_cuts_pass_through_planes_where_allowed_but_never_through_contacts(
    seed: int, kerf: float, clear: float
) -> None:
    rng = np.random.default_rng(seed)
    gold = np.full((40, 15), 0.01)
    contact = np.zeros(gold.shape, bool)
    for _ in range(int(rng.integers(1, 5))):
        u, v = rng.integers(0, 36), rng.integers(0, 12)
        contact[u : u + rng.integers(1, 6), v : v + rng.integers(1, 4)] = True
    grid = BoardGrid(STEP, gold, np.full(gold.shape, 0.01), contact, gold > 0)
    # room for the dust that a saw makes of the plane
    rules = CutRules(LongestPiece(22.0), 0.3, kerf, clear, cost_per_g=1.0, cost_per_cut=0.2, through="plating")
    assert plan_cuts(grid, replace(rules, through="nothing")) is None
    plan = plan_cuts(grid, rules)
    if plan is None:
        return
    assert plan.cuts
    reach = kerf / 2 + clear
    for cut in plan.cuts:
        span = (cut.at_mm - reach, cut.at_mm + reach)
        near = (*span, cut.from_mm, cut.to_mm) if cut.axis == 0 else (cut.from_mm, cut.to_mm, *span)
        assert sum_over(contact.astype(float), STEP, near) == pytest.approx(0, abs=1e-9)
        assert not parts_any(contact, cut)
    check(replace(grid, plating=np.zeros(gold.shape, bool)), rules, plan)


def strip() -> BoardGrid:
    gold = np.zeros((180, 25))
    gold[1:8, 1:24:3] = 0.1
    gold[172:179, 1:24:3] = 0.1
    return grid_of(gold)


def test_a_strip_board_loses_its_bare_middle() -> None:
    rules = CutRules(Vessel(100, 100))
    plan = plan_cuts(strip(), rules)
    assert plan is not None
    check(strip(), rules, plan)
    assert [(p.kept, p.v0_mm, p.v1_mm) for p in plan.pieces] == [(True, 0, 25), (False, 0, 25), (True, 0, 25)]
    assert plan.lost == 0
    assert sum(p.sides_mm[0] for p in plan.kept) <= 24


def test_a_memory_module_loses_its_edge_to_the_vessel() -> None:
    gold = np.zeros((133, 31))
    gold[2:131, 27:31] = 0.1
    plan = plan_cuts(grid_of(gold), CutRules(LongestPiece(140)))
    assert plan is not None
    assert [c.axis for c in plan.cuts] == [1]
    assert plan.kept[0].sides_mm == pytest.approx((133, 4.5))


def test_a_board_plated_all_over_is_halved_for_a_litre_beaker() -> None:
    grid = grid_of(np.full((133, 31), 0.1))
    assert plan_cuts(grid, CutRules(Vessel(100, 100))) is None
    plane = BoardGrid(STEP, grid.gold_mg, grid.mass_g, np.zeros((133, 31), bool), grid.plating)
    plan = plan_cuts(plane, CutRules(Vessel(100, 100), through="plating"))
    assert plan is not None
    assert len(plan.kept) == 2
    assert plan.cuts[0].at_mm == pytest.approx(66.5, abs=0.6)


def test_more_gold_given_up_never_costs_more() -> None:
    grid = random_board(5, (30, 12))
    costs = []
    for lost in (0.0, 0.01, 0.1, 0.5):
        plan = parallel_cuts(
            grid, CutRules(LongestPiece(40), lost, cost_per_g=1.0, cost_per_cut=0.01, clearance_mm=0)
        )
        assert plan is not None
        costs.append(plan.cost)
    assert costs == sorted(costs, reverse=True)


def test_turning_a_board_turns_its_plan() -> None:
    rules = CutRules(Vessel(100, 100))
    one, two = plan_cuts(strip(), rules), plan_cuts(strip().turned(), rules)
    assert one is not None
    assert two is not None
    assert one.cost == pytest.approx(two.cost)


@pytest.mark.parametrize(
    ("sides", "fits"),
    [((95, 95), True), ((110, 20), False), ((99, 101), False), ((60, 79), True), ((100, 99.9), True)],
)
def test_what_a_vessel_takes(sides: tuple[float, float], fits: bool) -> None:
    assert Vessel(100, 100).fits(*sides) is fits
    assert Vessel(100, 100).fits(*reversed(sides)) is fits


def test_impossible_rules_are_refused() -> None:
    with pytest.raises(UsageError):
        Vessel(0, 100)
    with pytest.raises(UsageError):
        LongestPiece(float("nan"))
    with pytest.raises(UsageError):
        CutRules(LongestPiece(10), kerf_mm=-1)
    with pytest.raises(UsageError):
        CutRules(LongestPiece(10), most_lost=1)
