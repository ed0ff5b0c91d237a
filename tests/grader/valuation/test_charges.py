"""Charges: what is drawn is what the budget is made of, and a new kind is charged wherever the known ones are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import ClassVar

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.model import ProductModel
from grader.valuation import (
    Assumptions,
    Charge,
    Cost,
    Sale,
    Settlement,
    Spot,
    Work,
    load_assumptions,
    value_lot,
    with_given,
)
from grader.valuation.books import all_values, of_stripping
from grader.valuation.charges import TypedEntry, with_charges
from grader.valuation.kinds import KINDS, TYPED
from grader.valuation.quantities import Quantity, Situation
from tests.grader.valuation.profits import of_sale, profit_model

TODAY = date(2026, 11, 25)
N, SEED = 500, 7
amounts = st.floats(0, 100)
purchases = st.integers(1, 4)


def known(name: str, *values: float, unit: str = "") -> Input:
    kind = ("constant", "uniform", "triangular")[len(values) - 1]
    return Input.named(name, name, Distribution(kind, values), "test", unit)


GOLD = ProductModel.of(1000.0, (Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.4)), "test"),))
MASS = ProductModel.of(5000.0, (known("mass", 0.9, 1.1),))
BARE = Assumptions(
    currency="USD",
    payable=known("payable", 0.8, 0.95),
    recovery=known("recovery", 0.9, 1.0),
    charges=(),
    fee=known("fee", 0.0, 0.1),
    tax=known("tax", 0.05, 0.2),
    spot=Spot(known("spot", 85.0, unit="USD/g"), TODAY),
)


def situation(*charges: Charge, many: int = 1) -> Situation:
    values = all_values((GOLD, MASS), replace(BARE, charges=charges), N, SEED)
    return Situation.of(
        values,
        N,
        many,
        delivered_g=Quantity.present(GOLD, 1e-3, values, N).times(BARE.recovery),
        sold_kg=Quantity.present(MASS, 1e-3, values, N),
    )


def a_few(low: float, more: float, least: float = 0.0) -> tuple[Charge, ...]:
    """One charge of each form."""
    high = low + more
    return (
        Cost(known("cost:acid", low, high, unit="USD")),
        Cost(known("cost:box", low, unit="USD"), "purchase"),
        Cost(known("cost:waste", low, high, unit="USD/l"), "purchase", known("quantity:waste", 1.0, 4.0, unit="l")),
        Work(known("hours", 1.0, 5.0, unit="h"), known("rate", low, high, unit="USD/h")),
        Settlement(
            known("settlement:per-gram", low, high, unit="USD/g"), known("settlement:minimum", least, unit="USD")
        ),
    )


@given(low=amounts, more=amounts, many=purchases)
@settings(max_examples=25, deadline=None)
def test_what_is_drawn_is_what_the_terms_come_to(low: float, more: float, many: int) -> None:
    """For every charge, draw by draw, where no minimum binds: so their means agree too."""
    charges = a_few(low, more)
    assert {type(c) for c in charges} == set(KINDS)
    s = situation(*charges, many=many)
    for charge in charges:
        due = charge.due(s)
        np.testing.assert_allclose(due.draws, due.terms.evaluate(s.once.values, N), rtol=1e-12, atol=1e-12)
        assert set(due.terms.inputs) >= {i.name for i in charge.inputs() if i.name != "settlement:minimum"}


@given(low=amounts, more=amounts, least=amounts, many=purchases, price=amounts)
@settings(max_examples=25, deadline=None)
def test_the_profit_that_is_drawn_is_the_budgets_but_for_the_minimum(
    low: float, more: float, least: float, many: int, price: float
) -> None:
    """Where the minimum binds in some draws only, the terms hold one of the two charges: never more than is drawn."""
    for minimum in (0.0, least):
        a = replace(BARE, charges=a_few(low, more, minimum))
        values = all_values((GOLD,), a, N, SEED)
        drawn = of_stripping(GOLD, a, values, many).profit(price)
        terms = profit_model(GOLD, a, values, many, price).evaluate(values, N)
        rounding = 1e-9 * (1 + np.abs(drawn).max())
        if minimum == 0:
            np.testing.assert_allclose(drawn, terms, atol=rounding)
        assert np.all(drawn <= terms + rounding)


def test_the_minimum_stands_for_the_charge_where_it_is_the_charge_more_often() -> None:
    settlement = Settlement(known("per", 10.0, unit="USD/g"), known("least", 10.0, unit="USD"))
    for least, used in ((5.0, "per"), (20.0, "least")):
        charge = replace(settlement, minimum=known("least", least, unit="USD"))
        due = charge.due(situation(charge))
        assert used in due.terms.inputs
        assert len(due.terms.terms) == 1
        assert np.all(due.draws >= least)
        assert due.draws.max() > least


def test_each_basis_by_hand() -> None:
    """Three purchases: what comes with each is paid thrice, and by whoever sells the boards on as well."""
    charges = (
        Cost(known("cost:acid", 7.0, unit="USD")),
        Cost(known("cost:box", 5.0, unit="USD"), "purchase"),
        Work(known("hours", 2.0, unit="h"), known("rate", 10.0, unit="USD/h")),
        Settlement(known("settlement:per-gram", 0.0, unit="USD/g"), known("settlement:minimum", 40.0, unit="USD")),
    )
    parcel = Cost(known("cost:all:parcel", 3.0, unit="USD"))
    sale = Sale(
        "all", "all", known("price:all", 8.0, unit="USD/kg"), None, (parcel,), known("hours:all", 0.5, unit="h")
    )
    a = replace(BARE, charges=charges, sales=(sale,))
    values = all_values((GOLD, MASS), a, N, SEED)
    stripped, sold = of_stripping(GOLD, a, values, 3), of_sale(sale, MASS, a, values, 3)
    assert stripped.costs == pytest.approx(7 + 3 * 5 + 20 + 40)
    assert (stripped.hours[0], stripped.own_time[0]) == (2.0, 20.0)
    assert sold.costs == pytest.approx(3 * 5 + 3 + 5)
    assert (sold.hours[0], sold.own_time[0]) == (0.5, 5.0)
    # with no rate the hours are there, unpaid
    unpaid = replace(a, charges=charges[:2])
    sold = of_sale(sale, MASS, unpaid, values, 3)
    assert (sold.hours[0], sold.own_time[0], sold.costs[0]) == (0.5, 0.0, 3 * 5 + 3)


@dataclass(frozen=True)
class Freight(Charge):
    """A kind that the package does not know: so much for a kilogram sold, and for a gram of gold sent in."""

    table = "freight"
    entries: ClassVar[Mapping[str, TypedEntry]] = {
        "rate_in": TypedEntry("freight", lambda text, source: known(f"cost:freight:{text}", 1.0), "0 {currency}"),
    }
    basis = "purchase"

    rate_in: Input

    def due(self, s: Situation) -> Quantity:
        return (s.sold_kg + s.delivered_g).times(self.rate_in)


def test_a_kind_that_nothing_else_knows_of_is_charged_everywhere() -> None:
    freight = Freight(known("cost:freight", 1.0, 3.0, unit="USD"))
    sale = Sale("all", "all", known("price:all", 8.0, unit="USD/kg"))
    bare = replace(BARE, sales=(sale,))
    made = replace(bare, charges=(freight,))
    assert freight.key == "freight"
    assert freight.rate_in in tuple(made.inputs())
    without, charged = (value_lot(GOLD, a, today=TODAY, mass_g=MASS, draws=2000) for a in (bare, made))
    values = all_values((GOLD, MASS), made, 2000, SEED)
    rate = values["cost:freight"]
    assert of_sale(sale, MASS, made, values).costs == pytest.approx(rate * MASS.evaluate(values, 2000) / 1000)
    assert charged.highest.price < without.highest.price
    assert charged.routes[1].at.expected_profit < without.routes[1].at.expected_profit
    assert "cost:freight" in {line.input for line in charged.budget}
    assert "cost:freight" in {i["name"] for i in charged.as_json()["assumptions"]["inputs"]}


def test_a_charge_takes_the_place_of_the_one_of_its_key() -> None:
    acid, box, waste, work, settlement = a_few(1.0, 1.0)
    dearer = replace(box, input=known("cost:box", 9.0, unit="USD"))  # type: ignore[type-var,call-arg]
    assert with_charges((acid, box, work), dearer, settlement) == (acid, dearer, work, settlement)
    assert with_charges((waste,)) == (waste,)


def test_no_two_kinds_have_a_table_or_an_entry_of_one_name() -> None:
    assert len({kind.table for kind in KINDS}) == len(KINDS)
    assert len(TYPED) == sum(len(kind.entries) for kind in KINDS)
    for kind in KINDS:
        assert kind.is_list == (not kind.entries)


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind.entries])
def test_what_is_typed_is_what_a_file_says(kind: type[Charge], tmp_path: Path) -> None:
    """Entries of nothing are read from a file and when typed, to the same charge but for its source."""
    texts = {name: entry.nothing.format(currency="USD") for name, entry in kind.entries.items()}
    head = 'currency = "USD"\n[payable]\nestimate = "90 %"\n[recovery]\nestimate = "90 %"\n'
    path = tmp_path / "mine.toml"

    def loaded(text: str) -> Assumptions:
        path.write_text(text, "utf-8")
        return load_assumptions(path)

    table = "\n".join((f"[{kind.table}]", *(f'{name} = "{text}"' for name, text in texts.items())))
    (from_file,) = loaded(head + table).charges
    (typed,) = with_given(loaded(head), **texts).charges
    assert type(from_file) is type(typed) is kind
    assert [replace(i, source="") for i in from_file.inputs()] == [replace(i, source="") for i in typed.inputs()]
    # of several entries, one that is typed leaves the others as they are
    name, text = next(iter(texts.items()))
    (partly,) = with_given(loaded(head + table), **{name: text}).charges
    assert [i.source for i in partly.inputs()] == ["given", *("mine.toml" for _ in list(texts)[1:])]


def test_an_entry_that_no_charge_has_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(TypeError, match="per_ton"):
        with_given(load_assumptions(), per_ton="1 USD")


# --- costs that grow with the lot


def priced(text: str, quantity: str = "", name: str = "x") -> Cost:
    return Cost.of((name,), name, text, quantity, "test")


def having(**amounts: float) -> Situation:
    names = {"pieces": "kg of pieces", "gold": "g of gold"}
    values: dict[str, np.ndarray] = {}
    drawn = {names.get(per, per): Quantity.number(many, values, 2) for per, many in amounts.items()}
    return Situation.of(values, 2, 1, amounts=drawn)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "due"),
    [
        ("12 USD", 12.0),
        ("0.5 USD/kg", 0.5 * 72),
        ("8 USD + 0.5 USD/kg", 8 + 0.5 * 72),
        ("30 USD/kg of pieces", 30 * 8.8),
        ("1 USD/g of gold + 3 USD", 1 * 21 + 3),
        ("0.05 USD/board", 0.05 * 4000),
        ("0.03 USD/cut", 0.03 * 8000),
        ("6 USD/load", 6 * 19),
        ("5 USD/l", 5 * 44),
        ("2 USD/h + 1 USD/lb", 2 * 24 + 72 / 0.45359237),
    ],
)
def test_parts_of_a_cost_by_hand(text: str, due: float) -> None:
    """72 kg of 4000 boards, 8.8 kg of pieces with 21 g of gold, 8000 cuts, 19 loads, 44 l, 24 h."""
    s = having(kg=72, pieces=8.8, gold=21, board=4000, cut=8000, load=19, l=44, h=24)
    cost = priced(text)
    s = replace(s, once=Quantity.number(1.0, {i.name: i.draws(2) for i in cost.inputs()}, 2))
    values = {i.name: i.draws(2) for i in cost.inputs()}
    s = replace(s, amounts={per: replace(q, values=values) for per, q in s.amounts.items()})
    assert cost.due(s).draws == pytest.approx(due)
    assert not cost.not_counted(s.amounts)


def test_a_plan_takes_the_place_of_what_is_said_for_without_one() -> None:
    acid, waste = priced("as planned, else 10 USD"), priced("5 USD/l", "as planned, else 3 l", "waste")
    values = {i.name: i.draws(2) for c in (acid, waste) for i in c.inputs()}
    unplanned = Situation.of(values, 2, 1)
    planned = Situation.of(
        values, 2, 1, amounts={"l": Quantity.number(44.0, values, 2)}, chemicals=Quantity.number(112.0, values, 2)
    )
    assert [c.due(unplanned).draws[0] for c in (acid, waste)] == [10.0, 15.0]
    assert [c.due(planned).draws[0] for c in (acid, waste)] == [112.0, 220.0]
    # what a plan makes idle is not drawn, shown or asked about
    assert [len(c.with_plan().inputs()) for c in (acid, waste)] == [1, 1]
    assert acid.with_plan().input.distribution.is_constant


def test_a_part_per_something_that_is_not_known_is_not_counted() -> None:
    cost = priced("8 USD + 0.5 USD/kg")
    s = Situation.of({i.name: i.draws(2) for i in cost.inputs()}, 2, 1)
    assert cost.due(s).draws == pytest.approx(8.0)
    assert cost.not_counted(s.amounts)
