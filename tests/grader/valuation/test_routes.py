"""Money in more detail, and the ways to deal with a lot side by side."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.model import ProductModel
from grader.units import Money
from grader.valuation import (
    Assumptions,
    AtPrice,
    Charge,
    Cost,
    Offer,
    RouteOutcome,
    Sale,
    Settlement,
    Spot,
    Work,
    drift_until_sale,
    economics,
    value_lot,
)
from grader.valuation.routes import LEAVE, STRIP

TODAY = date(2026, 11, 25)


def known(name: str, *values: float, unit: str = "") -> Input:
    kind = ("constant", "uniform", "triangular")[len(values) - 1]
    return Input.named(name, name, Distribution(kind, values), "test", unit)


GOLD = ProductModel.of(1000.0, (Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.4)), "test"),))
MASS = ProductModel.of(5000.0, (known("mass", 0.9, 1.1),))
BASE = Assumptions(
    currency="USD",
    payable=known("payable", 0.9),
    recovery=known("recovery", 0.9, 1.0),
    charges=(Cost(known("cost:shipping", 15.0, unit="USD"), "purchase"), Cost(known("cost:acid", 10.0, unit="USD"))),
    fee=known("fee", 0.0),
    tax=known("tax", 0.0),
    spot=Spot(known("spot", 85.0, unit="USD/g"), TODAY),
)
TRIM = Sale(
    "trim",
    "trim",
    known("price:trim", 50.0, 90.0, unit="USD/kg"),
    known("share:trim", 0.1),
    (Cost(known("cost:trim:parcel", 8.0, unit="USD")),),
    known("hours:trim", 2.0, unit="h"),
)
WHOLE = Sale("whole", "whole", known("price:whole", 8.0, unit="USD/kg"))


def with_also(assumptions: Assumptions, *charges: Charge) -> Assumptions:
    return replace(assumptions, charges=(*assumptions.charges, *charges))


def offer(assumptions: Assumptions, asking: int = 30, mass: ProductModel | None = MASS, **more: Any) -> Offer:
    return value_lot(
        GOLD,
        assumptions,
        today=TODAY,
        mass_g=mass,
        asking_price=Money(Decimal(asking), "USD"),
        draws=20_000,
        **more,
    )


def test_each_way_by_hand() -> None:
    work = Work(known("hours", 4.0, unit="h"), known("rate", 10.0, unit="USD/h"))
    assumptions = with_also(replace(BASE, sales=(TRIM, WHOLE)), work)
    strip, trim, whole, leave = offer(assumptions).routes
    assert [r.name for r in (strip, trim, whole, leave)] == [STRIP, "trim", "whole", LEAVE]
    mean_gold = np.exp(0.08)
    assert strip.at.expected_profit == pytest.approx(mean_gold * 0.95 * 85 * 0.9 - 15 - 10 - 40 - 30, rel=0.02)
    assert trim.at.expected_profit == pytest.approx(5 * 0.1 * 70 - 15 - 8 - 20 - 30, abs=0.3)
    assert whole.at.expected_profit == pytest.approx(5 * 8 - 15 - 30, abs=0.3)
    # own time does not tie up cash, and is not taken off before it is divided by
    assert strip.cash_tied_up == pytest.approx(30 + 15 + 10)
    assert strip.profit_per_hour == pytest.approx((strip.at.expected_profit + 40) / 4)
    assert trim.profit_per_hour == pytest.approx((trim.at.expected_profit + 20) / 2)
    assert whole.profit_per_hour is None
    assert (leave.at.expected_profit, leave.at.chance_of_loss, leave.cash_tied_up) == (0.0, 0.0, 0.0)


def test_ways_share_their_draws() -> None:
    """Two ways that differ by a constant cost differ by it in every figure."""
    dear = replace(WHOLE, name="dear", price=replace(WHOLE.price, of=("dear",)))
    dear = replace(dear, costs=(Cost(known("cost:dear:box", 7.0, unit="USD")),))
    _, whole, boxed, _ = offer(replace(BASE, sales=(WHOLE, dear))).routes
    for one, other in (
        (whole.at.expected_profit, boxed.at.expected_profit),
        (whole.highest_price, boxed.highest_price),
    ):
        assert one - other == pytest.approx(7.0)


def test_without_a_mass_nothing_is_said_of_selling_by_weight() -> None:
    result = offer(replace(BASE, sales=(WHOLE,)), mass=None)
    assert [r.name for r in result.routes] == [STRIP, LEAVE]
    assert "mass-unknown" in [n.code for n in result.notices]


def test_the_refiners_minimum_is_charged_where_the_charge_per_gram_is_less() -> None:
    def costs(per_gram: float, minimum: float) -> np.ndarray:
        settlement = Settlement(known("per", per_gram, unit="USD/g"), known("least", minimum, unit="USD"))
        return economics(GOLD, with_also(BASE, settlement), draws=5000).costs - 25.0

    delivered = GOLD.draws(5000) / 1000 * known("recovery", 0.9, 1.0).draws(5000)
    assert costs(0.0, 50.0) == pytest.approx(np.full(5000, 50.0))
    assert costs(40.0, 0.0) == pytest.approx(40 * delivered)
    assert costs(40.0, 50.0) == pytest.approx(np.maximum(40 * delivered, 50.0))


def test_a_binding_minimum_stands_in_the_budget() -> None:
    settlement = Settlement(known("per", 1.0, unit="USD/g"), known("least", 20.0, 80.0, unit="USD"))
    inputs = [line.input for line in offer(with_also(BASE, settlement)).budget]
    assert "least" in inputs
    assert "per" not in inputs


def test_waiting_for_the_sale_widens_the_range_and_leaves_the_mean() -> None:
    now, later = offer(BASE), offer(replace(BASE, drift=drift_until_sale(26.0, 0.3, "test")))
    assert later.break_even == pytest.approx(now.break_even, rel=0.01)
    assert later.proceeds.low < now.proceeds.low
    assert later.highest.price < now.highest.price


def test_litres_and_shares_multiply_an_amount() -> None:
    waste = Cost(known("cost:waste", 5.0, unit="USD/l"), "lot", known("quantity:waste", 3.0, unit="l"))
    assert np.mean(economics(GOLD, replace(BASE, charges=(waste,)), draws=100).costs) == pytest.approx(15.0)


amounts = st.floats(0, 200)


@given(spot=st.floats(20, 200), dearer=st.floats(1.0, 3.0), minimum=amounts, more=amounts, per_gram=st.floats(0, 10))
@settings(max_examples=30, deadline=None)
def test_dearer_gold_never_lowers_a_higher_charge_never_raises_the_highest_price(
    spot: float, dearer: float, minimum: float, more: float, per_gram: float
) -> None:
    def highest(price: float, least: float, rate: float) -> float:
        settlement = Settlement(known("per", per_gram, unit="USD/g"), known("least", least, unit="USD"))
        work = Work(known("hours", 1.0, 3.0, unit="h"), known("rate", rate, unit="USD/h"))
        assumptions = replace(
            with_also(BASE, work, settlement),
            spot=Spot(known("spot", price, unit="USD/g"), TODAY),
            drift=drift_until_sale(6, 0.16, "test"),
        )
        return economics(GOLD, assumptions, draws=1000).price_at_risk(0.1)

    slack = 1e-9 * spot
    assert highest(spot * dearer, minimum, 5.0) >= highest(spot, minimum, 5.0) - slack
    assert highest(spot, minimum + more, 5.0) <= highest(spot, minimum, 5.0) + slack
    assert highest(spot, minimum, 5.0 + more) <= highest(spot, minimum, 5.0) + slack


@given(factor=st.floats(0.01, 150))
@settings(max_examples=20, deadline=None)
def test_the_currency_unit_does_not_matter(factor: float) -> None:
    """A price list in a currency of which one dollar buys ``factor`` gives the same offer times ``factor``."""

    def scaled(i: Input) -> Input:
        money = i.unit.startswith("USD")
        p = tuple(x * factor for x in i.distribution.parameters) if money else i.distribution.parameters
        return replace(i, distribution=Distribution(i.distribution.kind, p), unit=i.unit.replace("USD", "JPY"))

    a = replace(BASE, drift=drift_until_sale(6, 0.16, "test"))
    assert a.spot is not None
    b = replace(
        a,
        currency="JPY",
        spot=replace(a.spot, input=scaled(a.spot.input)),
        charges=tuple(replace(c, input=scaled(c.input)) for c in a.costs),
    )
    one, other = (value_lot(GOLD, x, today=TODAY, draws=1000) for x in (a, b))
    assert other.highest.price == pytest.approx(one.highest.price * factor)
    assert other.break_even == pytest.approx(one.break_even * factor)
    assert other.highest.chance_of_loss == pytest.approx(one.highest.chance_of_loss)


def test_questions_are_about_the_choice_among_all_ways() -> None:
    """Where selling on whole pays far more, what stripping turns on is not worth asking, the sale's price is."""
    dear = replace(WHOLE, price=known("price:whole", 5.0, 400.0, unit="USD/kg"))
    strip_alone = offer(BASE, asking=60)
    both = offer(replace(BASE, sales=(dear,)), asking=60)
    assert strip_alone.questions[0].inputs == ("thickness",)
    assert both.questions[0].inputs == ("price:whole",)
    worth = {name: q.worth for q in both.questions for name in q.inputs}
    assert worth.get("thickness", 0.0) < strip_alone.questions[0].worth
    # without a mass the sale is no choice
    assert offer(replace(BASE, sales=(dear,)), asking=60, mass=None).questions == strip_alone.questions


def test_hours_are_those_expected_and_leaving_the_lot_brings_and_costs_nothing() -> None:
    slow = replace(TRIM, hours=known("trim:hours", 1.0, 4.0, unit="h"))
    work = Work(known("hours", 2.0, 6.0, unit="h"), known("rate", 10.0, unit="USD/h"))
    strip, trim, leave = offer(with_also(replace(BASE, sales=(slow,)), work)).routes
    assert strip.hours == pytest.approx(4.0, rel=0.01)
    assert trim.hours == pytest.approx(2.5, rel=0.01)
    assert leave == RouteOutcome(LEAVE, "do not buy", AtPrice(0.0, 0.0, 0.0, 0.0, 0.0), 0.0, 0.0, 0.0, None, 0.0)


def test_a_way_that_loses_even_as_a_gift_has_no_price() -> None:
    cheap = replace(WHOLE, price=known("whole:price", 2.0, unit="USD/kg"))
    _, whole, _ = offer(replace(BASE, sales=(cheap,)), asking=0).routes
    assert whole.at.expected_profit == pytest.approx(5 * 2 - 15, abs=0.1)
    assert whole.highest_price == 0.0
