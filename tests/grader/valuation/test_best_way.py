"""The bid is that of the best way: no headline is above or below what a table of the ways says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.model import EMPTY, ProductModel
from grader.report.blocks import Caveat, Text
from grader.report.offer_blocks import offer_blocks
from grader.table import Table
from grader.units import AskingPrice, Money, parse_asking_price
from grader.valuation import Assumptions, Cost, Offer, Portion, Sale, Spot, value_lot
from grader.valuation.routes import LEAVE, SORT, STRIP
from grader.valuation.words import ROUTE_COLUMNS

TODAY = date(2026, 11, 25)
prices = st.floats(0.0, 60.0)


def known(name: str, *values: float, unit: str = "") -> Input:
    return Input.named(name, name, Distribution(("constant", "uniform")[len(values) - 1], values), "test", unit)


def gold(mg: float, sigma: float = 0.4) -> ProductModel:
    return ProductModel.of(mg, (Input("thickness", "thickness", Distribution("lognormal", (1.0, sigma)), "test"),))


MASS = ProductModel.of(5000.0, (known("mass", 0.9, 1.1),))


def assume(
    *,
    whole: float | None = 8.0,
    trim: float | None = 70.0,
    bodies: float | None = 2.0,
    accepted_loss: float = 0.1,
    strip_cost: float = 20.0,
) -> Assumptions:
    def sale(name: str, price: float | None, share: Input | None = None) -> list[Sale]:
        if price is None:
            return []
        asked = known(f"price:{name}", 0.7 * price, 1.3 * price, unit="USD/kg")
        of = {"whole": "boards", "trim": "pieces", "bodies": "bodies"}[name]
        return [Sale(name, name, asked, share, of=of)]  # type: ignore[arg-type]

    return Assumptions(
        currency="USD",
        payable=known("payable", 0.9),
        recovery=known("recovery", 0.9, 1.0),
        charges=(
            Cost(known("cost:ship", 15.0, unit="USD"), "purchase"),
            Cost(known("cost:acid", strip_cost, unit="USD")),
        ),
        fee=known("fee", 0.0),
        tax=known("tax", 0.0),
        accepted_loss=accepted_loss,
        spot=Spot(known("spot", 85.0, unit="USD/g"), TODAY),
        sales=(*sale("trim", trim, known("share:trim", 0.1)), *sale("whole", whole), *sale("bodies", bodies)),
    )


def offer(model: ProductModel, a: Assumptions, **more: object) -> Offer:
    return value_lot(model, a, today=TODAY, **{"mass_g": MASS, "draws": 2000, **more})  # type: ignore[arg-type]


# --- properties


@settings(max_examples=40, deadline=None)
@given(st.floats(0, 3000), prices, st.floats(0, 300), st.floats(0, 10), st.floats(0.01, 0.5), st.floats(0, 500))
def test_the_headline_is_the_highest_of_the_table_and_no_sentence_contradicts_it(
    mg: float, whole: float, trim: float, bodies: float, accepted: float, strip_cost: float
) -> None:
    a = assume(whole=whole, trim=trim, bodies=bodies, accepted_loss=accepted, strip_cost=strip_cost)
    found = offer(gold(mg), a)
    each = {r.name: r.highest_price for r in found.routes}
    assert found.highest.price == max(each.values()) == each[found.route]
    assert (found.reason is None) == (found.highest.price > 0)
    assert found.route != LEAVE
    assert found.break_even == found.way.break_even
    assert found.highest.chance_of_loss <= accepted + 1 / 2000 or found.reason is not None
    # what is written says the same: the price above the table is the largest in it
    blocks = list(offer_blocks(found))
    (rows,) = (b.rows for b in blocks if isinstance(b, Table) and b.columns == ROUTE_COLUMNS)
    written = {row[0]: row[1] for row in rows if row[0] != "do not buy"}
    first = next(b.text for b in blocks if isinstance(b, Text))
    if found.reason is None:
        assert first.startswith(f"Highest price worth paying: {written[found.way.title]}, to {found.way.title} ")
    else:
        assert set(written.values()) == {"0.00 USD"}
    caveats = [b.message for b in blocks if isinstance(b, Caveat)]
    assert any(m.startswith("Even for nothing") for m in caveats) == (found.reason is not None)


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 3000), prices, prices, st.floats(1, 3))
def test_a_better_price_for_any_way_never_lowers_the_bid(mg: float, whole: float, bodies: float, more: float) -> None:
    before = offer(gold(mg), assume(whole=whole, bodies=bodies)).highest.price
    assert offer(gold(mg * more), assume(whole=whole, bodies=bodies)).highest.price >= before - 1e-9
    assert offer(gold(mg), assume(whole=whole * more, bodies=bodies)).highest.price >= before - 1e-9
    assert offer(gold(mg), assume(whole=whole, bodies=bodies * more)).highest.price >= before - 1e-9


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 3000), prices, st.floats(0, 300), prices)
def test_another_way_never_lowers_the_bid(mg: float, whole: float, trim: float, bodies: float) -> None:
    every = offer(gold(mg), assume(whole=whole, trim=trim, bodies=bodies)).highest.price
    for fewer in (
        assume(whole=None, trim=None, bodies=None),
        assume(whole=whole, trim=None, bodies=None),
        assume(whole=None, trim=trim, bodies=None),
        assume(whole=None, trim=trim, bodies=bodies),
    ):
        assert every >= offer(gold(mg), fewer).highest.price


@settings(max_examples=30, deadline=None)
@given(st.floats(0, 1500), st.floats(0, 1500), prices)
def test_a_lot_that_can_be_sorted_is_worth_no_less_than_in_one_heap(one: float, other: float, whole: float) -> None:
    a = assume(whole=whole)
    half = MASS.times((), 0.5)
    heaps = [Portion("cards", gold(one), half), Portion("modules", gold(other), half)]
    together = gold(one) + gold(other)
    assert offer(together, a, portions=heaps).highest.price >= offer(together, a).highest.price


# --- by hand


def test_bodies_are_sold_beside_what_is_stripped_or_trimmed() -> None:
    a = replace(assume(), sales=assume().sales)
    found = {r.name: r for r in offer(gold(1000.0), a, draws=20_000).routes}
    assert list(found) == [STRIP, "strip+bodies", "trim", "trim+bodies", "whole", LEAVE]
    # 5 kg of boards, a tenth of it trimmed: 4.5 kg are left and bring 2 USD/kg on average
    for name in (STRIP, "trim"):
        gain = found[f"{name}+bodies"].at.expected_profit - found[name].at.expected_profit
        assert gain == pytest.approx(4.5 * 2.0, rel=0.01)


def test_the_good_is_stripped_and_the_rest_sold_whole() -> None:
    """2 kg with 1 g of gold, 3 kg with none: 0.95 g × 85 × 0.9 = 72.675, 3 kg × 8 = 24, less 15 and 20."""
    a = replace(assume(trim=None, bodies=None), recovery=known("recovery", 0.95), sales=())
    a = replace(a, sales=(Sale("whole", "whole", known("price:whole", 8.0, unit="USD/kg")),))
    rich = Portion("modules", ProductModel.of(1000.0, ()), ProductModel.of(2000.0, ()))
    poor = Portion("brackets", EMPTY, ProductModel.of(3000.0, ()))
    found = offer(ProductModel.of(1000.0, ()), a, portions=[poor, rich])
    ways = {r.name: r.highest_price for r in found.routes}
    assert ways[STRIP] == pytest.approx(72.675 - 35)
    assert ways["whole"] == pytest.approx(40 - 15)
    assert ways[SORT] == pytest.approx(72.675 + 24 - 35)
    assert found.route == SORT
    assert found.way.title == "sort; strip modules, sell the rest whole"


@pytest.mark.parametrize(
    ("asked", "total"),
    [("100 USD", 100.0), ("8 USD/kg", 40.0), ("4 USD/lb", 4 * 5 / 0.45359237), ("2 USD per board", 50.0)],
)
def test_a_price_by_weight_or_by_the_board_is_one_for_the_lot(asked: str, total: float) -> None:
    """5 kg, 25 boards; a pound is 0.45359237 kg (international yard and pound agreement, 1959)."""
    found = offer(
        gold(1000.0),
        assume(),
        boards=25.0,
        mass_g=ProductModel.of(5000.0, ()),
        asking_price=parse_asking_price(asked),
    )
    assert found.asking is not None
    assert found.asking.price == pytest.approx(total)
    assert found.as_json()["asked"] == (None if asked == "100 USD" else str(parse_asking_price(asked)))


def test_the_bid_by_weight_and_by_the_board() -> None:
    data = offer(gold(1000.0), assume(), boards=25.0, mass_g=ProductModel.of(5000.0, ())).as_json()["highest_price"]
    assert data["per_kg"] == pytest.approx(data["price"] / 5)
    assert data["per_lb"] == pytest.approx(data["price"] / 5 * 0.45359237)
    assert data["per_board"] == pytest.approx(data["price"] / 25)
    assert data["route"] == "trim+bodies"


@pytest.mark.parametrize(("per", "code"), [("kg", "asking-mass-unknown"), ("board", "asking-boards-unknown")])
def test_a_price_by_what_is_not_known_is_refused(per: str, code: str) -> None:
    with pytest.raises(UsageError) as caught:
        offer(gold(1000.0), assume(), mass_g=None, asking_price=AskingPrice(Money(Decimal(8), "USD"), per))  # type: ignore[arg-type]
    assert caught.value.code == code


def test_odds_at_an_asking_price_are_those_of_the_way_that_the_bid_is_of() -> None:
    """So that the chance of a loss is within what is accepted exactly where the asking price is within the bid."""
    a = assume(whole=30.0)
    bid = offer(gold(500.0), a)
    assert bid.route == "whole"
    for factor, within in ((0.99, True), (1.01, False)):
        asked = offer(gold(500.0), a, asking_price=Money(Decimal(bid.highest.price * factor), "USD"))
        assert asked.asking is not None
        assert (asked.asking.chance_of_loss <= a.accepted_loss) == within
        assert asked.asking == next(r.at for r in asked.routes if r.name == "whole")
    assert np.isclose(bid.curve[0].expected_profit, bid.break_even)
