"""The simulation: the same for a seed, its oracle unbeaten, and its ranges as honest as they claim."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from math import exp

import numpy as np
import pytest

from calibration.errors import UsageError
from grader.model import Range
from grader.simulate import BUYERS, InventedLot, Trial, World, invent_lot, simulate
from grader.simulate.buyers import BREAK_EVEN, BY_GAINS, HIGHEST, MANY_LOTS, appraise, best_rate_per_kg
from grader.valuation import Assumptions, load_assumptions, with_given

DAY = date(2026, 11, 25)


@pytest.fixture(scope="module")
def assumptions() -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=DAY)


def made(asking: float, worth: float, mass_kg: float = 10.0) -> InventedLot:
    """A lot that brings so much and costs nothing but its price."""
    return InventedLot(None, asking, mass_kg, 100, 1.0, 1.0, worth, 0.0, 1.0)  # type: ignore[arg-type]


def tried(lot: InventedLot, expected: float = 0.0, chance: float = 0.0) -> Trial:
    return Trial(lot, 49.0, 49.5, 51.0, 50.0, 4.9, expected, chance, Range(1.0, 0.5, 2.0))


@pytest.fixture(scope="module")
def trials(assumptions: Assumptions) -> list[InventedLot]:
    return [invent_lot(World(assumptions, learned=True), n, 7) for n in range(60)]


def test_a_run_is_the_same_for_its_seed_and_another_for_another(assumptions: Assumptions) -> None:
    world = World(assumptions)
    first, again, other = (simulate(world, 20, seed) for seed in (3, 3, 4))
    assert first.as_json() == again.as_json()
    assert first.buyers != other.buyers


def test_nobody_beats_the_oracle_and_its_buys_never_lose(assumptions: Assumptions) -> None:
    report = simulate(World(assumptions), 60, 5)
    *others, oracle = report.buyers
    assert oracle.profit > 0
    assert oracle.regret == 0
    assert oracle.losing is not None
    assert oracle.losing.hits == 0
    for buyer in others:
        assert buyer.profit <= oracle.profit
        assert buyer.regret == pytest.approx((oracle.profit - buyer.profit) / 60)
        assert buyer.tests == 0
        assert buyer.share_of_oracle == pytest.approx(buyer.profit / oracle.profit)
        if buyer.losing is not None:
            assert buyer.losing.cases == buyer.bought


def test_ranges_hold_and_the_highest_price_loses_as_often_as_accepted(assumptions: Assumptions) -> None:
    """Where truth follows the tool's beliefs, its claims must hold: within what 400 lots can tell."""
    report = simulate(World(replace(assumptions, accepted_loss=0.3)), 400, 11)
    assert report.in_range.value == pytest.approx(0.9, abs=0.045)
    assert report.loss_at_highest is not None
    assert report.loss_at_highest.value == pytest.approx(0.3, abs=0.08)


def test_a_truth_that_is_all_known_leaves_nothing_to_regret(assumptions: Assumptions) -> None:
    """With every input certain and every price certain, worth is what the draws say it is."""
    certain = with_given(assumptions, payable="90 %", recovery="90 %", costs=["20 USD"], hours="3 h", rate="10 USD/h")
    certain = replace(certain, drift=None)
    lot = invent_lot(World(certain), 1, 1)
    per_mg = 0.9 * 0.9 * 2650 / 31.1034768 / 1000
    assert lot.worth == pytest.approx(lot.gold_mg * per_mg - 20 - 30, rel=1e-9)
    assert lot.profit(lot.worth) == pytest.approx(0.0)
    assert lot.loses(lot.worth * 1.01)
    assert not lot.loses(lot.worth)


def test_what_buyers_see_is_the_truth_with_the_noise_that_is_claimed(trials: list[InventedLot]) -> None:
    """Gold seen ÷ true, by count: its logarithm has the spread of photos, thickness and few boards, about zero."""
    ratios = []
    for lot in trials:
        (part,) = lot.seen.parts
        if part.count is not None:
            seen = sum(float(np.median(s.front.gold.draws(2000))) for s in part.sights)
            total = seen / part.boards_seen * part.count.parameters[0]
            ratios.append(np.log(total / lot.gold_mg))
    assert len(ratios) > 15
    assert np.mean(ratios) == pytest.approx(0.0, abs=0.3)
    assert 0.1 < np.std(ratios) < 0.8


def test_sellers_that_know_ask_in_step_with_the_truth(assumptions: Assumptions) -> None:
    def follows(sellers_know: bool) -> float:
        lots = [invent_lot(World(assumptions, sellers_know=sellers_know), n, 2) for n in range(150)]
        return float(np.corrcoef([np.log(x.asking) for x in lots], [np.log(x.gold_mg) for x in lots])[0, 1])

    assert follows(True) > follows(False) + 0.1


def test_the_buyer_by_weight_pays_what_would_have_earned_most() -> None:
    assert best_rate_per_kg([made(10, 30, 2), made(20, 25, 2), made(40, 10, 2)]) == 10.0
    assert best_rate_per_kg([made(10, 5, 2), made(20, 5, 2)]) == 0.0


def test_each_buyer_by_its_own_rule() -> None:
    trial = tried(made(50.0, 60.0), expected=3.0, chance=0.2)
    assert [b.starts(0.1)(trial) for b in BUYERS] == [False, False, False, True, True, False, True]
    assert [b.starts(0.3)(trial) for b in BUYERS] == [False, True, False, True, True, False, True]
    assert [b.limit(trial) if b.limit else None for b in BUYERS] == [49.0, None, 49.5, 51.0, 50.0, 49.0, None]


def test_over_many_lots_safe_buys_make_room_for_a_risky_one() -> None:
    decide = MANY_LOTS.starts(0.1)
    lot = made(50.0, 60.0)
    told = [(0.3, 5.0), (0.02, 5.0), (0.02, 5.0), (0.3, 5.0), (0.25, 5.0), (0.0, -1.0), (0.05, 5.0)]
    # 0.3 alone is too much; (0.02 + 0.02 + 0.3) / 3 too; (0.02 + 0.02 + 0.25) / 3 fits; what loses on average never
    assert [decide(tried(lot, expected, chance)) for chance, expected in told] == [
        *(False, True, True, False),
        *(True, False, True),
    ]


def test_over_many_lots_as_many_buys_lose_as_foretold_and_more_is_earned(assumptions: Assumptions) -> None:
    """With learned thickness: the mean chance of a loss over the buys is their losing share, but for chance."""
    world = World(assumptions, learned=True)
    trials = [appraise(assumptions, invent_lot(world, n, 1), n).trial for n in range(120)]
    bought = {}
    for buyer in (HIGHEST, MANY_LOTS):
        decide = buyer.starts(assumptions.accepted_loss)
        bought[buyer.name] = [t for t in trials if decide(t)]
    many = bought[MANY_LOTS.name]
    foretold = np.array([t.chance for t in many])
    assert foretold.mean() <= assumptions.accepted_loss
    lost = sum(t.lot.loses(t.lot.asking) for t in many)
    assert abs(lost - foretold.sum()) < 3 * np.sqrt((foretold * (1 - foretold)).sum())
    assert {t.lot.asking for t in bought[HIGHEST.name]} <= {t.lot.asking for t in many}
    earned, oracle = (
        sum(t.lot.profit(t.lot.asking) for t in many),
        sum(max(t.lot.profit(t.lot.asking), 0.0) for t in trials),
    )
    # 0.75, 0.79 and 0.87 with seeds 1 to 3: what few boards leave unknown of lots that vary as is held
    assert earned > 0.7 * oracle
    # what it foretells is never less than by the limit for each lot, whose buys are all among its own
    assert sum(t.expected for t in many) >= sum(t.expected for t in bought[HIGHEST.name])


def test_by_gains_losses_take_no_more_than_was_said(assumptions: Assumptions) -> None:
    """Untaught, where one lot in five is flash gold: the highest price buys next to nothing, this one does."""
    trials = [appraise(assumptions, invent_lot(World(assumptions), n, 1), n).trial for n in range(150)]
    profits = {}
    for buyer in (HIGHEST, BY_GAINS, BREAK_EVEN):
        decide = buyer.starts(assumptions.accepted_loss)
        profits[buyer.name] = np.array([t.lot.profit(t.lot.asking) for t in trials if decide(t)])
    assert all(t.over_many <= t.break_even + 1e-9 for t in trials)
    own = profits[BY_GAINS.name]
    assert np.maximum(-own, 0).sum() <= assumptions.over_many.share * np.maximum(own, 0).sum()
    assert len(profits[HIGHEST.name]) < len(own) < len(profits[BREAK_EVEN.name])
    oracle = sum(max(t.lot.profit(t.lot.asking), 0.0) for t in trials)
    assert own.sum() > 0.35 * oracle > profits[HIGHEST.name].sum()


def test_too_few_lots_are_refused(assumptions: Assumptions) -> None:
    with pytest.raises(UsageError) as caught:
        simulate(World(assumptions), 9, 1)
    assert caught.value.code == "lots-too-few"


def test_usual_gold_is_the_mean_of_the_beliefs() -> None:
    from grader.simulate.world import _usual_mg_per_mm2

    # by hand: 78 % hard gold, of which 85 % to a specification and 15 % thin, 22 % flash
    hard_um = 0.85 * 0.76 * exp(0.40**2 / 2) + 0.15 * 0.30 * exp(0.45**2 / 2)
    mean_um = 0.781 * hard_um + 0.219 * 0.09 * exp(0.45**2 / 2)
    assert _usual_mg_per_mm2() == pytest.approx(mean_um * 17.3e-3 * 0.995, rel=0.03)
