"""Buyers that learn: their trade, their tests, and that what they learn pays."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.belief import UncertainSpread, learn, published_priors
from calibration.belief.maps import normal_quantity
from calibration.belief.parts import Component, FamilyPrior
from calibration.errors import UsageError
from calibration.thickness import gold_properties, thickness_prior
from grader.simulate import LEARNERS, LearningReport, World, simulate_learning
from grader.simulate.buyers import BREAK_EVEN, HIGHEST, MANY_LOTS, ORACLE
from grader.simulate.tally import Decision, buyer_report, grouped
from grader.simulate.trade import Trade, offer
from grader.simulate.world import FINISH, InventedLot, reappraised, world_figures
from grader.valuation import Assumptions, load_assumptions, with_given

DAY = date(2026, 11, 25)
PRIORS = published_priors()


@pytest.fixture(scope="module")
def assumptions() -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=DAY)


@pytest.fixture(scope="module")
def report(assumptions: Assumptions) -> LearningReport:
    return simulate_learning(World(assumptions), 3, 12, 1)


def test_the_same_seed_gives_the_same_run(assumptions: Assumptions) -> None:
    first, again, other = (simulate_learning(World(assumptions), 2, 3, seed).as_json() for seed in (4, 4, 5))
    assert first == again
    assert first != other


def test_learning_pays_and_nobody_beats_the_oracle(report: LearningReport) -> None:
    assert [b.buyer for b in report.whole.buyers] == [who.name for who in LEARNERS]
    by_name = {b.buyer: b for b in report.whole.buyers}
    oracle = by_name[ORACLE.name]
    assert oracle.share_of_oracle == 1.0
    assert oracle.losing is not None
    assert oracle.losing.hits == 0
    assert all(b.profit <= oracle.profit for b in report.whole.buyers)
    for cautious in (HIGHEST, MANY_LOTS):
        learning, never = by_name[cautious.name], by_name[f"{cautious.name}, never learning"]
        assert learning.tests > 0
        assert never.tests == 0
        assert learning.profit > never.profit
    assert by_name[HIGHEST.name].profit < by_name[BREAK_EVEN.name].profit


def test_stages_add_up_to_the_whole(report: LearningReport) -> None:
    assert [(s.first, s.last) for s in report.stages] == [(1, 10), (11, 12)]
    for n, whole in enumerate(report.whole.buyers):
        parts = [s.buyers[n] for s in report.stages]
        assert sum(b.profit for b in parts) == pytest.approx(whole.profit)
        assert sum(b.bought for b in parts) == whole.bought
        assert sum(b.tests for b in parts) == whole.tests


def test_a_kind_of_boards_is_tested_once(report: LearningReport) -> None:
    kinds = world_figures()["parts"]
    assert all(b.tests <= report.trades * kinds for b in report.whole.buyers)


def test_trades_differ_as_the_belief_holds() -> None:
    """Effective thickness over many trades has the quantiles of the belief from which nothing was learned."""
    trades = [Trade.draw(PRIORS, np.random.default_rng([1, n])) for n in range(600)]
    per_um = 1e-3 * np.prod([np.mean(i.draws()) for i in gold_properties()[FINISH].inputs()[1:]])
    found = np.log([t.mg_per_mm2["part 0", "seller 0"] * t.recovery / per_um for t in trades])
    expected = np.log(learn(()).thickness("hard_gold", "a", "b"))
    # standard error of a median of 600 of a spread of 0.8: 0.04
    assert np.median(found) == pytest.approx(np.median(expected), abs=0.12)
    assert np.std(found) == pytest.approx(np.std(expected), rel=0.15)
    first, other = (np.log([t.mg_per_mm2[f"part {n}", "seller 0"] for t in trades]) for n in (0, 1))
    # parts of one trade share the chance of flash gold and the typical thickness, and little else: of their variance,
    # 0.2² of the typical thickness, 2.05² (ln 0.70 - ln 0.09) × 0.02 of the chance, against about 1 in all
    assert np.corrcoef(first, other)[0, 1] == pytest.approx(0.15, abs=0.12)
    assert all(t.kinds["part 0"] == "unknown" and not t.picking for t in trades[:5])


def test_what_is_weighed_is_what_the_belief_expects_of_it(assumptions: Assumptions) -> None:
    """Where all kinds are alike and nothing scatters, weighed ÷ area is the thickness of the trade."""
    nothing = UncertainSpread(1e-9, 1e-9)
    alike = FamilyPrior((Component(normal_quantity(math.log(0.6), 0.2), nothing),))
    priors = replace(PRIORS, families={(FINISH, "unknown"): alike}, seller=nothing, batch=nothing)
    rng = np.random.default_rng(3)
    trade = Trade.draw(priors, rng)
    offers = [offer(World(assumptions), trade, str(n), rng) for n in range(30)]
    truth = trade.mg_per_mm2["part 0", "seller 0"] * trade.recovery
    missed = []
    for o in offers:
        assert o.lot.recovered_mg == pytest.approx(o.lot.gold_mg * trade.recovery, rel=1e-6)
        for shown, share in ((o.weighed_mg, 1.0), (o.test_mg, o.test_share)):
            gold = o.lot.recovered_mg * share
            missed.append((shown - gold) / math.hypot(2.9, 0.01 * gold))  # balance and fineness, calibration/data
    assert np.mean(missed) == pytest.approx(0.0, abs=4 / math.sqrt(60))
    assert np.std(missed) == pytest.approx(1.0, abs=0.3)
    batches = [o.batch(1.0, o.weighed_mg, "x") for o in offers]
    per_um = 1e-3 * np.prod([np.median(i.draws()) for i in gold_properties()[FINISH].inputs()[1:]])
    ratios = [b.mass_mg / b.platings[0].mg_per_um for b in batches]
    # photos and few boards of lots that vary: within three standard errors of the mean of as many
    missed_by = np.mean(np.log(ratios)) - math.log(truth / per_um)
    assert abs(missed_by) < 3 * np.mean([b.relative_sd for b in batches]) / math.sqrt(len(batches))
    assert np.std(np.log(ratios)) == pytest.approx(np.mean([b.relative_sd for b in batches]), rel=0.5)


def test_a_lot_looks_as_its_thickness_is_believed(assumptions: Assumptions) -> None:
    rng = np.random.default_rng(8)
    seen = offer(World(assumptions), Trade.draw(PRIORS, rng), "a", rng).lot.seen
    properties = gold_properties()[FINISH]
    same = reappraised(seen, properties).parts[0].sights[0].front.gold
    assert same == seen.parts[0].sights[0].front.gold
    twice = replace(thickness_prior("hard_gold"), of=("other",))
    other = reappraised(seen, replace(properties, thickness=twice)).parts[0].sights[0].front.gold
    assert "thickness:other" in other.inputs


def test_losses_in_common_leave_more_open() -> None:
    """Ten groups that lose all or nothing tell no more than ten cases, a hundred single ones as much as a hundred."""
    apart = grouped([[n % 2 == 0] for n in range(100)])
    common = grouped([[n % 2 == 0] * 10 for n in range(10)])
    assert apart is not None
    assert common is not None
    assert (apart.value, common.value) == (0.5, 0.5)
    # normal range of a share of a half among 100, and of the mean of ten groups of 0 or 1 (standard deviation 0.527)
    assert (apart.high - apart.low) / 2 == pytest.approx(1.645 * 0.05, rel=0.03)
    assert (common.high - common.low) / 2 == pytest.approx(1.645 * 0.527 / math.sqrt(10), rel=0.01)
    assert grouped([[], []]) is None


def test_a_report_counts_by_hand() -> None:
    def step(asking: float, worth: float, *, bought: bool, limit: float) -> Decision:
        lot = InventedLot(None, asking, 1.0, 10, 1.0, 1.0, worth, 0.0, 1.0)  # type: ignore[arg-type]
        return Decision(lot, bought, worth - asking if bought else 0.0, limit)

    steps = [
        step(10, 30, bought=True, limit=20),
        step(20, 15, bought=True, limit=25),
        step(9, 8, bought=False, limit=5),
    ]
    found = buyer_report("x", [steps], 40.0)
    assert (found.bought, found.profit, found.share_of_oracle) == (2, 15, 0.375)
    assert found.losing is not None
    assert (found.losing.hits, found.losing.cases) == (1, 2)
    assert found.loss_at_limit is not None
    assert (found.loss_at_limit.hits, found.loss_at_limit.cases) == (1, 3)
    assert found.regret == pytest.approx(25 / 3)


def test_too_few_are_refused(assumptions: Assumptions) -> None:
    with pytest.raises(UsageError) as caught:
        simulate_learning(World(assumptions), 1, 40, 1)
    assert caught.value.code == "lots-too-few"
