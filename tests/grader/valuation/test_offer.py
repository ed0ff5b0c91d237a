"""What to pay: closed forms, and how the answer must move when the inputs move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from itertools import pairwise
from math import exp, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.budget import TOGETHER
from grader.model import EMPTY, ProductModel, Term
from grader.units import Money
from grader.valuation import VALUATION_DRAWS, Assumptions, Cost, Offer, Spot, economics, value_lot
from grader.valuation.charges import Basis
from grader.valuation.words import swing_lines

TODAY = date(2026, 11, 25)
FEW = 2_000
shares = st.floats(0, 1)
positive = st.floats(0.01, 1e4)


def known(kind: str, *parameters: float) -> Distribution:
    return Distribution(kind, parameters)


def fixed(value: float) -> Distribution:
    return known("constant", value)


def gold(coefficient_mg: float, **factors: Distribution) -> ProductModel:
    inputs = {name: Input.named(name, name, d, "test") for name, d in factors.items()}
    return ProductModel((Term(coefficient_mg, tuple(inputs)),), inputs)


def cost(name: str, amount: Distribution, basis: Basis = "lot", currency: str = "USD") -> Cost:
    return Cost(Input("cost", name, amount, "test", currency, of=(name,)), basis)


def assume(
    spot_per_g: float | Distribution = 100.0,
    costs: Sequence[Cost] = (),
    fee: float | Distribution = 0.0,
    tax: float | Distribution = 0.0,
    accepted_loss: float = 0.1,
    payable: float | Distribution = 1.0,
    recovery: float | Distribution = 1.0,
) -> Assumptions:
    def entry(name: str, value: float | Distribution, unit: str = "") -> Input:
        return Input.named(name, name, value if isinstance(value, Distribution) else fixed(value), "test", unit)

    return Assumptions(
        currency="USD",
        payable=entry("payable", payable),
        recovery=entry("recovery", recovery),
        charges=tuple(costs),
        fee=entry("fee", fee),
        tax=entry("tax", tax),
        accepted_loss=accepted_loss,
        spot=Spot(entry("spot", spot_per_g, "USD/g"), TODAY),
    )


def offer(model: ProductModel, assumptions: Assumptions, asking: float | None = None, draws: int = FEW) -> Offer:
    price = None if asking is None else Money(Decimal(asking), "USD")
    return value_lot(model, assumptions, today=TODAY, asking_price=price, draws=draws)


SPREAD = {"thickness": known("lognormal", 1.0, 0.4), "scale": known("normal", 1.0, 0.02)}
UNSURE = {"costs": (cost("work", known("triangular", 1.0, 2.0, 5.0)),), "payable": known("uniform", 0.8, 0.95)}


def quantile_error(alpha: float, density: float) -> float:
    """Standard error of a sample quantile at the default number of draws (Cramér 1946, 28.5)."""
    return sqrt(alpha * (1 - alpha) / VALUATION_DRAWS) / density


# --- closed forms


@pytest.mark.parametrize("alpha", [0.02, 0.1, 0.3])
@pytest.mark.parametrize(("sigma", "fee", "tax"), [(0.2, 0.0, 0.0), (0.6, 0.15, 0.08)])
def test_lognormal_gold_and_constant_costs(alpha: float, sigma: float, fee: float, tax: float) -> None:
    assumptions = assume(
        85.0, [cost("work", fixed(7.0))], fee=fee, tax=tax, accepted_loss=alpha, payable=0.93, recovery=0.9
    )
    result = offer(gold(2000.0, t=known("lognormal", 1.0, sigma)), assumptions, asking=50.0, draws=VALUATION_DRAWS)
    median, load, z = 2.0 * 85.0 * 0.93 * 0.9, (1 + fee) * (1 + tax), norm.ppf(alpha)
    quantile = median * exp(sigma * z)
    expected = (quantile - 7.0) / load
    error = quantile_error(alpha, norm.pdf(z) / (sigma * quantile)) / load
    assert abs(result.highest.price - expected) < 4 * error
    assert result.highest.chance_of_loss == pytest.approx(alpha, abs=1 / VALUATION_DRAWS)
    mean = median * exp(sigma**2 / 2)
    spread = mean * sqrt(exp(sigma**2) - 1)
    assert abs(result.break_even - (mean - 7.0) / load) < 4 * spread / sqrt(VALUATION_DRAWS) / load
    asking = result.asking
    assert asking is not None
    chance = norm.cdf(np.log((50.0 * load + 7.0) / median) / sigma)
    assert (
        abs(asking.chance_of_loss - chance) < 4 * sqrt(chance * (1 - chance) / VALUATION_DRAWS) + 1 / VALUATION_DRAWS
    )
    assert abs(asking.expected_profit - (mean - 7.0 - 50.0 * load)) < 4 * spread / sqrt(VALUATION_DRAWS)


@pytest.mark.parametrize("sigma", [0.2, 0.4, 0.6])
def test_the_highest_price_is_good_to_one_per_cent_at_the_default_number_of_draws(sigma: float) -> None:
    result = offer(gold(1000.0, t=known("lognormal", 1.0, sigma)), assume(), draws=VALUATION_DRAWS)
    assert result.highest.price == pytest.approx(100.0 * exp(sigma * norm.ppf(0.1)), rel=0.01)


def test_normal_gold_and_normal_costs() -> None:
    lot = gold(1000.0, g=known("normal", 1.0, 0.1))  # proceeds N(100, 10)
    assumptions = assume(100.0, [cost("work", known("triangular", 19.999, 20.0, 20.001))])
    result = offer(lot, assumptions, asking=75.0, draws=VALUATION_DRAWS)
    z = norm.ppf(0.1)
    assert abs(result.highest.price - (80.0 + 10.0 * z)) < 4 * quantile_error(0.1, norm.pdf(z) / 10.0)
    assert abs(result.break_even - 80.0) < 4 * 10.0 / sqrt(VALUATION_DRAWS)
    asking = result.asking
    assert asking is not None
    chance = norm.cdf(-0.5)
    assert abs(asking.chance_of_loss - chance) < 4 * sqrt(chance * (1 - chance) / VALUATION_DRAWS)
    z20 = norm.ppf(0.05)
    assert abs(asking.worst_in_twenty - (5.0 + 10.0 * z20)) < 4 * quantile_error(0.05, norm.pdf(z20) / 10.0)


def test_nothing_unsure_gives_one_price_and_no_budget() -> None:
    result = offer(gold(1000.0), assume(100.0, [cost("work", fixed(10.0))], fee=0.2), asking=75.0)
    assert (result.highest.price, result.break_even) == pytest.approx((75.0, 75.0))
    assert result.asking is not None
    assert result.asking.chance_of_loss == 0.0  # no profit is no loss
    assert result.asking.expected_profit == pytest.approx(0.0, abs=1e-9)
    assert result.budget == ()
    assert result.reason is None


def test_an_unsure_fee_is_exact_too() -> None:
    assumptions = assume(100.0, fee=known("uniform", 0.0, 0.5), accepted_loss=0.2)
    result = offer(gold(1000.0), assumptions, draws=VALUATION_DRAWS)
    # Loses where 100 / (1 + fee) < P, that is fee > 100 / P - 1: a fifth of all cases at fee = 0.4.
    assert result.highest.price == pytest.approx(100.0 / 1.4, rel=0.002)
    assert result.break_even == pytest.approx(100.0 / 1.25, rel=0.002)


def test_shipping_is_paid_once_a_purchase_and_work_once_a_lot() -> None:
    assumptions = assume(100.0, [cost("shipping", fixed(5.0), "purchase"), cost("work", fixed(7.0))])
    money = economics(gold(1000.0), assumptions, purchases=3, draws=2)
    assert money.costs == pytest.approx([22.0, 22.0])
    assert money.break_even() == pytest.approx(78.0)


# --- how the answer must move


@settings(max_examples=50, deadline=None)
@given(st.floats(1, 500), st.floats(1, 3), shares)
def test_dearer_gold_never_lowers_the_prices(spot: float, dearer: float, fee: float) -> None:
    lot = gold(500.0, **SPREAD)
    before = offer(lot, assume(spot, fee=fee, **UNSURE))
    after = offer(lot, assume(spot * dearer, fee=fee, **UNSURE))
    assert after.highest.price >= before.highest.price
    assert after.break_even >= before.break_even


@settings(max_examples=50, deadline=None)
@given(shares, shares, shares)
def test_a_higher_fee_or_tax_never_raises_the_prices(fee: float, more: float, tax: float) -> None:
    low, high = sorted((fee, more))
    lot = gold(500.0, **SPREAD)
    for cheap, dear in (
        (assume(fee=low, tax=tax, **UNSURE), assume(fee=high, tax=tax, **UNSURE)),
        (assume(fee=tax, tax=low, **UNSURE), assume(fee=tax, tax=high, **UNSURE)),
    ):
        after, before = offer(lot, dear), offer(lot, cheap)
        assert after.highest.price <= before.highest.price
        assert after.break_even <= before.break_even


@settings(max_examples=50, deadline=None)
@given(positive, positive)
def test_a_higher_cost_never_raises_the_prices_and_takes_itself_off_break_even(base: float, more: float) -> None:
    lot = gold(500_000.0, **SPREAD)
    cheap = offer(lot, assume(costs=[cost("work", fixed(base))]))
    dear = offer(lot, assume(costs=[cost("work", fixed(base + more))]))
    assert dear.highest.price <= cheap.highest.price
    assert cheap.break_even - dear.break_even == pytest.approx(more, rel=1e-6)


@settings(max_examples=50, deadline=None)
@given(st.floats(0.001, 0.5), st.floats(0.001, 0.5), st.floats(0, 200))
def test_daring_buyers_pay_more_and_dearer_buys_lose_more_often(one: float, other: float, asking: float) -> None:
    shy, bold = sorted((one, other))
    lot = gold(500.0, **SPREAD)
    assert offer(lot, assume(accepted_loss=shy)).highest.price <= offer(lot, assume(accepted_loss=bold)).highest.price
    cheap, dear = (offer(lot, assume(), asking=price).asking for price in (asking, asking * 1.5))
    assert cheap is not None
    assert dear is not None
    assert dear.chance_of_loss >= cheap.chance_of_loss
    assert dear.expected_profit <= cheap.expected_profit


@settings(max_examples=50, deadline=None)
@given(positive, positive, shares)
def test_prices_of_disjoint_lots_add_up_where_nothing_is_unsure(one: float, other: float, fee: float) -> None:
    assumptions = assume(fee=fee, payable=0.9)
    both = offer(gold(one) + gold(other), assumptions)
    apart = [offer(gold(mg), assumptions) for mg in (one, other)]
    assert both.highest.price == pytest.approx(sum(o.highest.price for o in apart))
    assert both.break_even == pytest.approx(sum(o.break_even for o in apart))


@settings(max_examples=50, deadline=None)
@given(st.sampled_from([0.001, 0.92, 7.3, 150.0, 16_000.0]))
def test_the_answer_does_not_depend_on_the_currency_unit(rate: float) -> None:
    lot = gold(2000.0, **SPREAD)

    def in_units(k: float) -> Offer:
        costs = [cost("work", known("triangular", 5.0 * k, 8.0 * k, 20.0 * k))]
        return offer(lot, assume(85.0 * k, costs, fee=known("uniform", 0.0, 0.1)), asking=60.0 * k)

    ours, theirs = in_units(1.0), in_units(rate)
    assert theirs.highest.price == pytest.approx(ours.highest.price * rate)
    assert theirs.break_even == pytest.approx(ours.break_even * rate)
    assert ours.asking is not None
    assert theirs.asking is not None
    assert theirs.asking.chance_of_loss == pytest.approx(ours.asking.chance_of_loss)
    for mine, other in zip(ours.budget, theirs.budget, strict=True):
        assert other.input == mine.input
        assert other.share_of_variance == pytest.approx(mine.share_of_variance, abs=1e-9)


# --- reasons, notices, budget


def test_where_even_a_gift_loses_the_price_is_zero_with_a_reason() -> None:
    result = offer(gold(100.0, **SPREAD), assume(costs=[cost("work", fixed(9.0))]))
    assert (result.highest.price, result.highest_price.amount) == (0.0, 0)
    assert result.reason is not None
    assert result.reason.code == "even-a-gift-loses"
    chance = f"{result.highest.chance_of_loss * 100:.0f} %"
    assert chance in result.reason.message
    assert result.highest.chance_of_loss > 0.1
    assert result.break_even > 0  # on average a gift gains: only the risk is too high


def test_no_gold_seen_is_said_and_nothing_is_offered() -> None:
    result = offer(EMPTY, assume())
    assert result.highest.price == 0
    assert [n.code for n in result.notices] == ["no-gold-seen"]
    assert result.reason is not None


def test_a_range_that_reaches_below_zero_counts_as_no_gold() -> None:
    result = offer(gold(10.0, g=known("normal", 0.0, 1.0)), assume())
    assert result.gold_mg.low == 0.0
    assert result.proceeds.low == 0.0


def test_a_daring_buyer_is_told_when_the_price_is_above_break_even() -> None:
    # One lot in four is nearly worthless: the median is far above the mean.
    lot = gold(1000.0, g=Distribution("sample", (0.01, 1.0, 1.0, 1.0)))
    result = offer(lot, assume(accepted_loss=0.4))
    assert result.highest.price > result.break_even
    assert result.highest.expected_profit < 0
    assert [n.code for n in result.notices] == ["price-above-break-even"]


@pytest.mark.parametrize(("day", "stale"), [(25, False), (18, False), (17, True), (26, False)])
def test_a_gold_price_older_than_a_week_is_warned_of(day: int, stale: bool) -> None:
    assumptions = assume()
    assert assumptions.spot is not None
    result = offer(gold(1.0), replace(assumptions, spot=replace(assumptions.spot, on=date(2026, 11, day))))
    assert [n.code for n in result.notices] == (["spot-stale"] if stale else [])


def test_the_budget_names_what_moves_the_profit() -> None:
    lot = gold(2000.0, thickness=known("lognormal", 1.0, 0.4), scale=known("normal", 1.0, 0.01))
    result = offer(lot, assume(costs=[cost("work", known("triangular", 5.0, 8.0, 20.0))]), asking=60.0)
    assert [line.input for line in result.budget] == ["thickness", "cost:work", "scale", TOGETHER]
    assert sum(line.share_of_variance for line in result.budget) == pytest.approx(1.0)
    thickness, work = result.budget[0], result.budget[1]
    assert thickness.share_of_variance > 0.9
    for line, rises in ((thickness, True), (work, False)):
        assert line.swing_low is not None
        assert line.swing_high is not None
        assert (line.swing_high > line.swing_low) is rises
    # Swing of the thickness with the costs at their median: 200 × (its 95 % point) less costs and price.
    median_cost = 20.0 - sqrt(0.5 * 15.0 * 12.0)
    expected = 200.0 * exp(0.4 * norm.ppf(0.95)) - median_cost - 60.0
    assert thickness.swing_high == pytest.approx(expected, rel=0.05)


def test_the_same_lot_gives_the_same_offer_and_one_that_json_can_hold() -> None:
    import json

    lot, assumptions = gold(2000.0, **SPREAD), assume(**UNSURE)
    first, second = (offer(lot, assumptions, asking=50.0).as_json() for _ in range(2))
    assert first == second == json.loads(json.dumps(first, allow_nan=False))
    assert "gold inside packages" in first["statements"][0]
    assert "safety" in first["statements"][1]


# --- refusals


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"payable": 2.5}, "share-out-of-range"),
        ({"recovery": -0.1}, "share-out-of-range"),
        ({"recovery": known("normal", 0.9, 0.1)}, "share-out-of-range"),
        ({"fee": 1.2}, "share-out-of-range"),
        ({"tax": -0.2}, "share-out-of-range"),
        ({"costs": [cost("work", fixed(-1.0))]}, "money-negative"),
        ({"costs": [cost("work", known("normal", 10.0, 3.0))]}, "money-negative"),
        ({"costs": [cost("work", fixed(1.0)), cost("work", fixed(2.0))]}, "cost-twice"),
        ({"costs": [cost("work", fixed(1.0), currency="EUR")]}, "currencies-differ"),
        ({"spot_per_g": 0.0}, "price-not-positive"),
        ({"spot_per_g": -85.0}, "price-not-positive"),
        ({"accepted_loss": 0.0}, "accepted-loss-out-of-range"),
        ({"accepted_loss": 0.6}, "accepted-loss-out-of-range"),
        ({"accepted_loss": float("nan")}, "accepted-loss-out-of-range"),
    ],
)
def test_impossible_assumptions_are_refused(changes: dict[str, object], code: str) -> None:
    with pytest.raises(UsageError) as caught:
        assume(**changes)  # type: ignore[arg-type]
    assert caught.value.code == code


def test_what_a_valuation_refuses() -> None:
    lot, assumptions = gold(1.0), assume()
    assert assumptions.spot is not None
    future = replace(assumptions, spot=replace(assumptions.spot, on=date(2026, 11, 27)))
    cases = [
        (replace(assumptions, spot=None), None, "spot-missing"),
        (future, None, "spot-date-future"),
        (assumptions, Money(Decimal(5), "EUR"), "currencies-differ"),
        (assumptions, Money(Decimal(-5), "USD"), "money-negative"),
    ]
    for given_assumptions, asking, code in cases:
        with pytest.raises(UsageError) as caught:
            value_lot(lot, given_assumptions, today=TODAY, asking_price=asking, draws=10)
        assert caught.value.code == code


def test_the_curve_falls_from_a_gift_to_beyond_the_break_even() -> None:
    result = offer(gold(2000.0, **SPREAD), assume(**UNSURE), asking=90.0)
    prices = [at.price for at in result.curve]
    assert prices[0] == 0.0
    assert prices == sorted(prices)
    assert prices[-1] > max(90.0, result.break_even)
    for near, far in pairwise(result.curve):
        assert far.expected_profit < near.expected_profit
        assert far.chance_of_loss >= near.chance_of_loss
        assert far.worst_in_twenty < far.expected_profit < far.best_in_twenty
    # straight: each unit of price costs one unit of profit
    assert result.curve[0].expected_profit - result.curve[-1].expected_profit == pytest.approx(prices[-1])


def test_a_lot_that_is_worth_nothing_still_has_a_curve() -> None:
    result = offer(EMPTY, assume(costs=[cost("work", fixed(10.0))]))
    assert result.curve[0].expected_profit == pytest.approx(-10.0)
    assert result.curve[-1].price > 0


def test_swings_come_widest_first_and_without_direction() -> None:
    lot = gold(2000.0, thickness=known("lognormal", 1.0, 0.4), scale=known("normal", 1.0, 0.05))
    lines = swing_lines(offer(lot, assume(costs=[cost("work", known("triangular", 5.0, 8.0, 20.0))]), asking=60.0))
    assert [title for title, _, _ in lines] == ["thickness", "scale", "work"]
    assert all(low < high for _, low, high in lines)
