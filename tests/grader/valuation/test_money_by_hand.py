"""Limits, notices and figures of an offer, worked out by hand on lots whose draws are known one by one."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from math import inf
from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.model import ProductModel
from grader.units import Money
from grader.valuation import (
    Assumptions,
    Cost,
    Offer,
    Sale,
    Settlement,
    Spot,
    Work,
    drift_until_sale,
    economics,
    value_lot,
)
from grader.valuation.books import all_values, of_stripping
from tests.grader.valuation.profits import of_sale, profit_model

TODAY = date(2026, 11, 25)


def known(name: str, *values: float, unit: str = "", kind: str = "") -> Input:
    kinds = ("constant", "uniform", "triangular")
    return Input.named(name, name, Distribution(kind or kinds[len(values) - 1], values), "test", unit)


def assume(
    costs: tuple[Cost, ...] = (), work: Work | None = None, settlement: Settlement | None = None, **changes: Any
) -> Assumptions:
    plain = Assumptions(
        currency="USD",
        payable=known("payable", 0.9),
        recovery=known("recovery", 0.8),
        charges=(*costs, *(c for c in (work, settlement) if c is not None)),
        fee=known("fee", 0.0),
        tax=known("tax", 0.0),
        spot=Spot(known("spot", 100.0, unit="USD/g"), TODAY),
    )
    return replace(plain, **changes)


def lot(*grams: float) -> ProductModel:
    """So many equally likely masses of gold."""
    return ProductModel.of(1000.0, (known("gold", *grams, kind="sample"),))


def offer(model: ProductModel, a: Assumptions, **more: Any) -> Offer:
    return value_lot(model, a, **{"today": TODAY, "draws": 20_000, **more})


def codes(found: Offer) -> list[str]:
    return [n.code for n in found.notices]


# --- what a distribution can reach


@pytest.mark.parametrize(
    ("kind", "parameters", "reach"),
    [
        ("constant", (3.0,), (3.0, 3.0)),
        ("normal", (2.0, 0.0), (2.0, 2.0)),
        ("normal", (2.0, 0.1), (-inf, inf)),
        ("uniform", (1.0, 4.0), (1.0, 4.0)),
        ("triangular", (1.0, 2.0, 5.0), (1.0, 5.0)),
        ("loguniform", (0.5, 8.0), (0.5, 8.0)),
        ("trapezoid_log", (1.0, 2.0, 3.0, 9.0), (1.0, 9.0)),
        ("sample", (5.0, 2.0, 7.0), (2.0, 7.0)),
        ("lognormal", (1.0, 0.3), (0.0, inf)),
        ("lognormal_mixture", (0.5, 1.0, 0.3, 2.0, 0.3), (0.0, inf)),
        ("lognormals", (0.5, 1.0, 0.3, 0.5, 2.0, 0.3), (0.0, inf)),
        ("logit_normal", (0.2, 1.0), (0.0, 1.0)),
        ("logit_normal", (0.2, 0.0), (0.2, 0.2)),
        ("either", (0.2,), (0.0, 1.0)),
        ("either", (1.0,), (1.0, 1.0)),
        ("log_student_t", (3.0, 0.0, 4.0, 1.0), (3.0, 3.0)),
        ("log_student_t", (3.0, 0.2, 4.0, np.log(10.0)), (0.3, 30.0)),
    ],
)
def test_least_and_greatest_value(kind: str, parameters: tuple[float, ...], reach: tuple[float, float]) -> None:
    distribution = Distribution(kind, parameters)
    low, high = distribution.support
    assert (low, high) == pytest.approx(reach)
    draws = Input("x", "x", distribution, "test").draws(5000)
    assert low * (1 - 1e-12) <= draws.min() <= draws.max() <= high * (1 + 1e-12)


# --- limits of assumptions: what is still taken, and what no longer


@pytest.mark.parametrize("accepted_loss", [1e-6, 0.1, 0.5])
def test_chances_of_a_loss_that_may_be_aimed_at(accepted_loss: float) -> None:
    assert assume(accepted_loss=accepted_loss).accepted_loss == accepted_loss


@pytest.mark.parametrize("accepted_loss", [0.0, -0.1, 0.5001, 0.52])
def test_chances_of_a_loss_beyond_an_even_one_are_refused(accepted_loss: float) -> None:
    with pytest.raises(UsageError) as caught:
        assume(accepted_loss=accepted_loss)
    assert caught.value.code == "accepted-loss-out-of-range"


@pytest.mark.parametrize("name", ["payable", "recovery", "fee", "tax"])
def test_shares_reach_from_nothing_to_all_and_no_further(name: str) -> None:
    for share in ((0.0,), (1.0,), (0.0, 1.0)):
        assert assume(**{name: known(name, *share)})
    for wrong in ((-0.01,), (1.01,), (-0.01, 0.5), (0.5, 1.05)):
        with pytest.raises(UsageError) as caught:
            assume(**{name: known(name, *wrong)})
        assert caught.value.code == "share-out-of-range"


def test_a_sales_share_is_a_share_and_its_costs_are_amounts() -> None:
    sale = Sale("s", "s", known("s:price", 5.0, unit="USD/kg"), known("s:share", 0.5), (), known("s:hours", 1.0))
    assert assume(sales=(sale,))
    box = Cost(known("cost:s:box", -1.0, unit="USD"))
    for wrong, code in (
        (replace(sale, share=known("s:share", 1.2)), "share-out-of-range"),
        (replace(sale, costs=(box,)), "money-negative"),
        (replace(sale, hours=known("s:hours", -1.0)), "money-negative"),
        (replace(sale, price=known("s:price", 5.0, unit="EUR/kg")), "currencies-differ"),
    ):
        with pytest.raises(UsageError) as caught:
            assume(sales=(wrong,))
        assert caught.value.code == code


def test_costs_of_nothing_are_taken_and_a_gold_price_of_nothing_is_not() -> None:
    assert assume(costs=(Cost(known("cost:free", 0.0, unit="USD")),))
    assert assume(spot=Spot(known("spot", 0.0, 1.0, unit="USD/g"), TODAY))
    for wrong in ((0.0,), (-1.0, 1.0)):
        with pytest.raises(UsageError) as caught:
            assume(spot=Spot(known("spot", *wrong, unit="USD/g"), TODAY))
        assert caught.value.code == "price-not-positive"


@pytest.mark.parametrize(
    "changes",
    [
        {"work": Work(known("hours", 1.0), known("rate", 9.0, unit="EUR/h"))},
        {"settlement": Settlement(known("per", 1.0, unit="EUR/g"), known("least", 9.0, unit="USD"))},
        {"settlement": Settlement(known("per", 1.0, unit="USD/g"), known("least", 9.0, unit="EUR"))},
        {"spot": Spot(known("spot", 9.0, unit="EUR/g"), TODAY)},
    ],
)
def test_every_amount_is_in_one_currency(changes: dict[str, Any]) -> None:
    with pytest.raises(UsageError) as caught:
        assume(**changes)
    assert caught.value.code == "currencies-differ"


# --- an offer, draw by draw


def test_an_offer_of_ten_equally_likely_lots() -> None:
    """1 to 10 g of gold at 72 USD a gram, 40 USD of costs, fee 25 % and tax 60 %: a price costs twice itself."""
    costs = (Cost(known("cost:x", 40.0, unit="USD")),)
    a = assume(costs=costs, fee=known("fee", 0.25), tax=known("tax", 0.6), accepted_loss=0.15)
    found = offer(lot(*map(float, range(1, 11))), a, asking_price=Money(Decimal(90), "USD"))
    asking = found.asking
    assert asking is not None
    # 90 asked costs 180: lots of 1, 2 and 3 g (72, 144 and 216 less 40) lose
    assert asking.chance_of_loss == pytest.approx(0.3, abs=0.01)
    assert asking.expected_profit == pytest.approx(5.5 * 72 - 40 - 180, abs=3)
    assert (asking.worst_in_twenty, asking.best_in_twenty) == pytest.approx((72 - 220, 720 - 220))
    assert found.break_even == pytest.approx((5.5 * 72 - 40) / 2, abs=2)
    # the lot of 1 g may lose, so that the one of 2 g carries the price
    assert found.highest.price == pytest.approx((144 - 40) / 2)
    assert found.highest.chance_of_loss == pytest.approx(0.1, abs=0.01)
    assert (found.costs.low, found.costs.value, found.costs.high) == (40.0, 40.0, 40.0)
    assert (found.proceeds.low, found.proceeds.high) == pytest.approx((72.0, 720.0))
    assert found.budget_price == 90.0
    assert offer(lot(1.0, 2.0), a).budget_price == offer(lot(1.0, 2.0), a).highest.price


def test_equal_prices_are_no_loss() -> None:
    """A lot worth 72 in every draw: bought at 72 it loses never, a hundredth above it always."""
    a = assume()
    for price, loss in ((72.0, 0.0), (72.01, 1.0), (71.99, 0.0)):
        found = offer(lot(1.0), a, asking_price=Money(Decimal(str(price)), "USD")).asking
        assert found is not None
        assert found.chance_of_loss == loss


def test_gold_in_some_draws_is_gold_that_was_seen() -> None:
    assert codes(offer(lot(0.0, 1.0), assume())) == []
    assert codes(offer(lot(0.0), assume())) == ["no-gold-seen"]
    assert codes(offer(lot(-1.0), assume())) == ["no-gold-seen"]


def test_a_price_right_at_break_even_is_not_above_it() -> None:
    """Nothing is unsure: highest price and break-even are one, and nobody is called daring."""
    found = offer(lot(1.0), assume())
    assert found.highest.price == pytest.approx(found.break_even)
    assert codes(found) == []
    assert found.reason is None


def test_a_gift_of_nothing_is_named_a_loss_only_where_it_is_one() -> None:
    free = offer(lot(0.0, 0.0, 0.0, 1.0), assume(accepted_loss=0.5))
    assert free.highest.price == 0.0
    assert free.reason is not None
    assert free.reason.code == "even-a-gift-loses"
    assert "price-above-break-even" not in codes(free)
    assert free.break_even == pytest.approx(18.0, abs=0.5)
    dear = offer(lot(1.0), assume(costs=(Cost(known("cost:x", 100.0, unit="USD")),)))
    assert dear.break_even == 0.0


def test_sales_need_a_mass_and_only_they_do() -> None:
    sale = Sale("s", "s", known("s:price", 5.0, unit="USD/kg"))
    assert codes(offer(lot(1.0), assume())) == []
    assert codes(offer(lot(1.0), assume(sales=(sale,)))) == ["mass-unknown"]
    mass = ProductModel.of(1000.0, (known("mass", 1.0),))
    assert codes(offer(lot(1.0), assume(sales=(sale,)), mass_g=mass)) == []


@pytest.mark.parametrize(("day", "code"), [(18, ""), (17, "spot-stale"), (26, "")])
def test_the_age_of_a_gold_price(day: int, code: str) -> None:
    a = assume(spot=Spot(known("spot", 100.0, unit="USD/g"), date(2026, 11, day)))
    assert codes(offer(lot(1.0), a)) == ([code] if code else [])


def test_an_asking_price_of_nothing_is_one() -> None:
    found = offer(lot(1.0), assume(), asking_price=Money(Decimal(0), "USD"))
    assert found.asking is not None
    assert found.asking.expected_profit == pytest.approx(72.0)


def test_examples_are_counted() -> None:
    found = offer(lot(1.0), assume(examples=frozenset({"payable", "fee", "gone"})))
    assert codes(found) == ["example-assumptions"]
    assert "2" in found.notices[0].message


# --- money of the two ways, term by term


GOLD = ProductModel.of(1000.0, (known("thickness", 1.0, 0.4, kind="lognormal"),))
WORK = Work(known("hours", 2.0, 4.0, unit="h"), known("rate", 10.0, unit="USD/h"))
COSTS = (
    Cost(known("cost:ship", 15.0, unit="USD"), "purchase"),
    Cost(known("cost:acid", 5.0, unit="USD/l"), "lot", known("quantity:acid", 1.0, 3.0, unit="l")),
)


@pytest.mark.parametrize("least", [0.0, 1000.0])
def test_the_profit_as_a_sum_of_products_is_the_profit(least: float) -> None:
    """Where a refiner's minimum never rules, or always, the budget's model and the odds say the same."""
    settlement = Settlement(known("per", 4.0, 6.0, unit="USD/g"), known("least", least, unit="USD"))
    a = assume(
        costs=COSTS, work=WORK, settlement=settlement, drift=drift_until_sale(8.0, 0.2, "test"),
        fee=known("fee", 0.1, 0.2), tax=known("tax", 0.05),
    )  # fmt: skip
    values = all_values((GOLD,), a, 500, 3)
    money = of_stripping(GOLD, a, values, 3)
    model = profit_model(GOLD, a, values, 3, 40.0)
    np.testing.assert_allclose(model.evaluate(values, 500), money.profit(40.0), rtol=1e-9)
    delivered = np.exp(0) * values["thickness"] * 0.8
    by_hand = delivered * 100 * 0.9 * values[a.drift.name]  # type: ignore[union-attr]
    by_hand -= 3 * 15 + 5 * values["quantity:acid"] + 10 * values["hours"]
    by_hand -= np.maximum(values["per"] * delivered, least) + 40 * (1 + values["fee"]) * 1.05
    np.testing.assert_allclose(money.profit(40.0), by_hand, rtol=1e-9)


def test_a_minimum_stands_for_the_charge_where_it_rules_in_most_draws() -> None:
    """Gold of 1 or 3 g at 10 USD a gram of charge: a minimum of 20 USD rules over 1 g alone."""
    settlement = Settlement(known("per", 10.0, unit="USD/g"), known("least", 20.0, unit="USD"))
    a = assume(settlement=settlement, recovery=known("recovery", 1.0))
    for grams, ruling in (((1.0, 1.0, 3.0), "least"), ((1.0, 3.0, 3.0), "per")):
        model = lot(*grams)
        values = all_values((model,), a, 2000, 1)
        names = {f for t in profit_model(model, a, values, 1, 0.0).terms for f in t.factors}
        assert names & {"least", "per"} == {ruling}


def test_selling_by_weight_pays_what_comes_with_the_purchase() -> None:
    """2 to 4 kg, a fifth of it sold at 50 USD/kg: parcels of two buys, a box of its own, hours at one's own rate."""
    mass = ProductModel.of(1000.0, (known("mass", 2.0, 4.0),))
    box = Cost(known("cost:box", 6.0, unit="USD"))
    sale = Sale("s", "s", known("s:price", 50.0, unit="USD/kg"), known("s:share", 0.2), (box,), known("s:hours", 1.5))
    a = assume(costs=COSTS, work=WORK, sales=(sale,), fee=known("fee", 0.25), tax=known("tax", 0.2))
    values = all_values((mass,), a, 300, 1)
    money = of_sale(sale, mass, a, values, 2)
    np.testing.assert_allclose(money.proceeds, 10 * values["mass"])
    np.testing.assert_allclose(money.costs, np.full(300, 2 * 15 + 6 + 15.0))
    np.testing.assert_allclose(money.own_time, np.full(300, 15.0))
    np.testing.assert_allclose(money.load, np.full(300, 1.5))
    assert money.cash_tied_up(20.0) == pytest.approx(20 * 1.5 + 30 + 6)
    assert money.profit_per_hour(20.0) == pytest.approx((10 * values["mass"].mean() - 36 - 30) / 1.5)
    # without a rate one's own hours cost nothing, and are still counted
    idle = of_sale(sale, mass, replace(a, charges=COSTS), values, 1)
    assert (idle.own_time.max(), idle.hours.min()) == (0.0, 1.5)
    assert idle.profit_per_hour(0.0) == pytest.approx((10 * values["mass"].mean() - 21) / 1.5)


def test_a_lot_is_bought_at_once_unless_somebody_says_otherwise() -> None:
    a, mass = assume(costs=COSTS[:1]), ProductModel.of(1000.0, (known("mass", 1.0),))
    values = all_values((GOLD, mass), a, 100, 1)
    assert of_stripping(GOLD, a, values).costs[0] == 15.0
    assert of_sale(Sale("s", "s", known("mass", 1.0)), mass, a, values).costs[0] == 15.0
    assert economics(GOLD, a, draws=100).costs[0] == 15.0
    assert offer(GOLD, a).costs.value == 15.0
    assert offer(GOLD, a, purchases=3).costs.value == 45.0


def test_a_mass_that_reaches_below_nothing_sells_for_nothing() -> None:
    mass = ProductModel.of(1000.0, (known("mass", -1.0, 1.0, kind="sample"),))
    sale = Sale("s", "s", known("s:price", 50.0, unit="USD/kg"))
    a = assume(sales=(sale,))
    money = of_sale(sale, mass, a, all_values((mass,), a, 300, 1))
    assert set(money.proceeds) == {0.0, 50.0}


def test_the_curve_reaches_a_quarter_beyond_the_dearest_of_three_prices() -> None:
    a = assume(costs=(Cost(known("cost:x", 72.0, unit="USD")),))
    values = all_values((lot(1.0, 3.0),), a, 20_000, 1)
    money = of_stripping(lot(1.0, 3.0), a, values)  # worth 0 or 144 in equal parts
    for asked, top in ((10.0, 144.0), (200.0, 200.0)):
        curve = money.curve(asked)
        assert len(curve) == 26
        assert [at.price for at in curve] == pytest.approx(np.linspace(0, 1.25 * top, 26))
    # a lot that is worth nothing is drawn as far as it costs, and one that costs nothing either, to 1
    poor = of_stripping(lot(0.0), a, all_values((lot(0.0),), a, 100, 1))
    assert poor.curve(0.0)[-1].price == pytest.approx(72.0)
    free = of_stripping(lot(0.0), assume(), all_values((lot(0.0),), assume(), 100, 1))
    assert free.curve(0.0)[-1].price == 1.0


def test_the_record_of_an_offer_holds_what_the_offer_holds() -> None:
    sale = Sale("s", "s", known("s:price", 5.0, unit="USD/kg"))
    mass = ProductModel.of(1000.0, (known("mass", 1.0),))
    a = assume(sales=(sale,), costs=COSTS, work=WORK, examples=frozenset({"payable"}))
    found = offer(lot(2.0, 2.5), a, mass_g=mass, asking_price=Money(Decimal(30), "USD"), lot=[{"name": "cards"}])
    data = found.as_json()
    assert data["schema"] == 1
    assert data["asking_price"] == {**found.asking.as_json(), "route": "strip"}  # type: ignore[union-attr]
    assert data["reason"] is None
    assert data["lot"] == [{"name": "cards"}]
    assert data["highest_price"]["price"] == found.highest.price
    assert [r["route"] for r in data["routes"]] == ["strip", "s", "leave"]
    assert data["assumptions"]["spot_date"] == "2026-11-25"
    examples = {i["name"]: i["example"] for i in data["assumptions"]["inputs"]}
    assert examples["payable"]
    assert not examples["recovery"]
    assert data["assumptions"]["cost_basis"] == {"cost:ship": "purchase", "cost:acid": "lot"}
    assert [line["profit_low"] for line in data["budget"]] == [line.swing_low for line in found.budget]
    without = offer(lot(0.0), replace(a, spot=a.spot)).as_json()
    assert without["asking_price"] is None
    assert without["reason"]["code"] == "even-a-gift-loses"
