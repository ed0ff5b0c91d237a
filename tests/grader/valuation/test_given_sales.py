"""Time until the sale, refiner's charges and sales by weight as typed: they take the place of what was assumed."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from calibration.errors import UsageError
from grader.valuation import Assumptions, drift_until_sale, load_assumptions, with_given
from grader.valuation.given_sales import SaleTexts

DAY = date(2026, 11, 20)


def given(base: Assumptions | None = None, **typed: object) -> Assumptions:
    return with_given(base or load_assumptions(), spot="2650 USD/ozt", spot_date=DAY, **typed)  # type: ignore[arg-type]


def test_a_longer_wait_spreads_the_gold_price_with_the_root_of_time() -> None:
    base = load_assumptions()
    assert base.drift is not None
    assert base.weeks == 6
    made = given(weeks="24 weeks")
    assert made.weeks == 24
    assert made.drift is not None
    # a random walk's spread grows with the root of time: four times the wait, twice the spread
    assert made.drift.distribution.parameters[1] == pytest.approx(2 * base.drift.distribution.parameters[1])
    assert made.drift.distribution == drift_until_sale(24, 0.16, "").distribution
    assert "24 weeks" in made.drift.title
    assert given(weeks="0 weeks").drift.distribution.is_constant  # type: ignore[union-attr]


def test_a_wait_needs_a_volatility() -> None:
    with pytest.raises(UsageError) as error:
        given(replace(load_assumptions(), drift=None, weeks=None), weeks="3 weeks")
    assert error.value.code == "drift-unknown"


def test_a_refiners_charges_take_the_place_of_the_example_share_of_them() -> None:
    made = given(per_gram="0.5..1 USD", minimum="150 USD")
    assert made.settlement is not None
    assert made.settlement.per_gram.distribution.parameters == (0.5, 1)
    assert made.settlement.per_gram.unit == "USD/g"
    assert made.settlement.minimum.distribution.parameters == (150,)
    assert "cost:refining" not in {c.input.name for c in made.costs}
    assert {c.input.name for c in load_assumptions().costs} - {c.input.name for c in made.costs} == {"cost:refining"}
    assert "cost:refining" not in made.examples


def test_a_typed_cost_of_refining_stays_beside_the_charges() -> None:
    made = given(minimum="150 USD", costs=["refining = 20 USD"])
    assert [c.input.name for c in made.costs] == ["cost:refining"]


@pytest.mark.parametrize("text", ["1 USD/g", "1 USD / g", "1 USD"])
def test_a_charge_may_say_that_it_is_per_gram(text: str) -> None:
    settlement = given(per_gram=text).settlement
    assert settlement is not None
    assert settlement.per_gram.distribution.parameters == (1,)
    assert settlement.minimum.distribution.parameters == (0,)


def test_a_price_by_weight_replaces_the_example_and_is_none_any_more() -> None:
    base = load_assumptions()
    made = given(sales={"whole": SaleTexts("12 USD/kg"), "trim": SaleTexts(share="5 %")})
    sales = {s.name: s for s in made.sales}
    assert sales["whole"].price is not None
    assert sales["whole"].price.distribution.parameters == (12,)
    assert sales["whole"].costs == {s.name: s for s in base.sales}["whole"].costs
    assert sales["trim"].share is not None
    assert sales["trim"].share.distribution.parameters == (0.05,)
    assert sales["trim"].pays == {s.name: s for s in base.sales}["trim"].pays
    assert base.examples - made.examples >= {"price:whole", "share:trim"}
    assert "pays:trim" in made.examples


def test_a_class_of_pieces_takes_the_place_of_their_gold() -> None:
    trim = {s.name: s for s in given(sales={"trim": SaleTexts("60 USD/kg")}).sales}["trim"]
    assert trim.pays is None
    assert trim.price is not None
    assert trim.price.distribution.parameters == (60,)


def test_a_new_sale_is_added() -> None:
    bare = replace(load_assumptions(), sales=())
    bare = replace(bare, examples=frozenset(i.name for i in bare.inputs()))
    made = given(bare, sales={"whole": SaleTexts("12 USD/kg"), "trim": SaleTexts("60 USD/kg", "5 %")})
    assert {s.name for s in made.sales} == {"whole", "trim"}
    halves = ((SaleTexts("60 USD/kg"), "sale-share-missing"), (SaleTexts(share="5 %"), "sale-price-missing"))
    for texts, code in halves:
        with pytest.raises(UsageError) as error:
            given(bare, sales={"trim": texts})
        assert error.value.code == code


@pytest.mark.parametrize(
    ("typed", "word"),
    [
        ({"weeks": "6"}, "time until the sale"),
        ({"per_gram": "a little"}, "charge per gram"),
        ({"minimum": "150"}, "least charge"),
        ({"sales": {"whole": SaleTexts("12 USD")}}, "by weight"),
        ({"sales": {"trim": SaleTexts(share="150 %")}}, "150 %"),
    ],
)
def test_a_wrong_entry_is_named(typed: dict[str, object], word: str) -> None:
    with pytest.raises(UsageError) as error:
        given(**typed)
    assert word in error.value.message


def test_a_file_without_examples_has_said_the_currency_even_if_all_amounts_are_typed() -> None:
    own = replace(load_assumptions(), examples=frozenset(), sales=(), charges=(), spot=None)
    typed = {"spot": "85 EUR/g", "spot_date": date(2026, 11, 20), "costs": ["12 EUR"]}
    with pytest.raises(UsageError) as caught:
        with_given(own, **typed)
    assert caught.value.code == "currencies-differ"
    # examples give way: their currency is nobody's choice
    assert with_given(replace(own, examples=frozenset({"payable"})), **typed).currency == "EUR"


def test_own_time_is_typed_in_part_or_whole() -> None:
    shipped = load_assumptions()
    assert shipped.work is not None
    hours, rate = with_given(shipped, hours="2..4 h"), with_given(shipped, rate="30 USD/h")
    assert hours.work is not None
    assert rate.work is not None
    assert hours.work.hours.distribution.parameters == (2.0, 4.0)
    assert hours.work.rate == shipped.work.rate
    assert rate.work.hours == shipped.work.hours
    assert rate.work.rate.distribution.parameters == (30.0,)
    assert shipped.examples - hours.examples == {shipped.work.hours.name}
    assert shipped.examples - rate.examples == {shipped.work.rate.name}
    # nobody's time: what is not typed is nothing
    idle = replace(shipped, charges=shipped.costs, examples=shipped.examples - {"hours", "rate"})
    only_hours, only_rate = with_given(idle, hours="3 h").work, with_given(idle, rate="9 USD/h").work
    assert only_hours is not None
    assert only_rate is not None
    assert (only_hours.hours.distribution.parameters, only_hours.rate.distribution.parameters) == ((3.0,), (0.0,))
    assert (only_rate.hours.distribution.parameters, only_rate.rate.distribution.parameters) == ((0.0,), (9.0,))
    assert with_given(idle).work is None


@pytest.mark.parametrize(
    ("text", "name", "title", "basis", "factors"),
    [
        ("12 USD", "cost:cost-1", "cost 1", "lot", 1),
        ("refining = 12 USD", "cost:refining", "refining", "lot", 1),
        ("purchase: shipping = 12 USD", "cost:shipping", "shipping", "purchase", 1),
        ("Purchase : shipping = 12 USD", "cost:shipping", "shipping", "purchase", 1),
        ("purchase: = 12 USD", "cost:cost-1", "cost 1", "purchase", 1),
        ("box: large = 12 USD", "cost:box-large", "box: large", "lot", 1),
        ("acid = 5 USD/l x 2..4 l", "cost:acid", "acid", "lot", 2),
        ("acid = 5 USD/l × 3 l", "cost:acid", "acid", "lot", 2),
    ],
)
def test_how_a_cost_is_read(text: str, name: str, title: str, basis: str, factors: int) -> None:
    (cost,) = with_given(load_assumptions(), costs=[text]).costs
    assert (cost.input.name, cost.input.title, cost.basis, len(cost.inputs())) == (name, title, basis, factors)
