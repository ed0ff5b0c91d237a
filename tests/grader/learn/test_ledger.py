"""Profit of lots, sellers and parts, and what the ranges of saved offers held."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.learn import accounts, accounts_by, outcomes, ranges_held
from grader.learn.ledger_tables import held_sentences, ledger_document, ledger_tables
from grader.log import (
    Contents,
    Log,
    LoggedLot,
    MoneyEntry,
    MoneyKind,
    NewLot,
    NewMoney,
    NewPurchase,
    Purchase,
    checked,
    open_log,
)

NOW = datetime(2026, 3, 4, 12, tzinfo=UTC)
DAY = NOW.date()


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    """A log with two lots of one seller and one of nobody; its clock ticks a second at each look."""
    ticks = iter(range(10_000))
    with open_log(tmp_path / "log.sqlite", clock=lambda: NOW + timedelta(seconds=next(ticks))) as opened:
        opened.add_lot(NewLot(name="Shed", seller="Ann", part="modules"))
        opened.add_lot(NewLot(name="Attic", seller="Ann", part="cards"))
        opened.add_lot(NewLot(name="Barn"))
        yield opened


def buy(log: Log, lot: str, price: str, currency: str = "EUR") -> int:
    return log.add_purchase(lot, checked(NewPurchase, price=price, currency=currency, bought_on=DAY)).id


def put(log: Log, lot: str, kind: str, amount: str, currency: str = "EUR", **more: Any) -> int:
    values = {"kind": kind, "what": "x", "amount": amount, "currency": currency, "day": DAY, **more}
    return log.add_money(lot, checked(NewMoney, **values)).id


def offer(low: float, high: float, costs: float = 10.0, currency: str = "EUR") -> dict[str, Any]:
    """As a valuation is kept, with the figures that are read of it."""
    gift = {
        "price": 0.0,
        "expected_profit": (low + high) / 2 - costs,
        "worst_in_twenty": low - costs,
        "best_in_twenty": high - costs,
    }
    return {
        "currency": currency,
        "proceeds": {"value": (low + high) / 2, "low": low, "high": high, "level": 0.9},
        "highest_price": {"price": 60.0, "title": "Strip the boards"},
        "curve": [gift, {**gift, "price": 100.0}],
    }


def profits(contents: Contents) -> dict[str, dict[str, Decimal] | None]:
    return {a.name: a.profit for a in accounts(contents)}


def test_a_worked_example_by_hand(log: Log) -> None:
    buy(log, "Shed", "40")
    put(log, "Shed", "cost", "12")
    put(log, "Shed", "sale", "30")
    put(log, "Shed", "settlement", "100", charges="8.50", what="")
    # 30 + 100 - 8.50 - 12 - 40
    assert profits(log.contents()) == {"Shed": {"EUR": Decimal("69.50")}}


def test_a_lot_without_a_sale_is_open_and_no_loss(log: Log) -> None:
    buy(log, "Shed", "40")
    put(log, "Shed", "cost", "12")
    buy(log, "Attic", "10")
    put(log, "Attic", "sale", "25")
    contents = log.contents()
    assert profits(contents) == {"Shed": None, "Attic": {"EUR": Decimal(15)}}
    (ann,) = accounts_by(contents, "seller")
    assert (ann.name, ann.sold, ann.open, ann.profit) == ("Ann", 1, 1, {"EUR": Decimal(15)})
    by_part = {a.name: (a.sold, a.open, a.profit) for a in accounts_by(contents, "part")}
    assert by_part == {"modules": (0, 1, None), "cards": (1, 0, {"EUR": Decimal(15)})}
    assert [o.lot for o in outcomes(contents)] == ["Attic"]
    # a sale that was corrected to nothing sells nothing
    log.correct_money(
        2, checked(NewMoney, kind="sale", what="x", amount="0", currency="EUR", day=DAY), "fell through"
    )
    assert profits(log.contents())["Attic"] is None


def test_corrections_change_what_is_compared(log: Log) -> None:
    wrong = buy(log, "Shed", "400")
    put(log, "Shed", "sale", "100")
    assert profits(log.contents()) == {"Shed": {"EUR": Decimal(-300)}}
    right = checked(NewPurchase, price="40", currency="EUR", bought_on=DAY)
    log.correct_purchase(wrong, right, "a zero too many")
    assert profits(log.contents()) == {"Shed": {"EUR": Decimal(60)}}
    log.correct_purchase(2, right, "another lot's", "Attic")
    contents = log.contents()
    assert profits(contents) == {"Shed": {"EUR": Decimal(100)}, "Attic": None}
    assert accounts(contents)[0].unpriced == 1
    assert "price not logged" in str(ledger_tables(contents)[0].rows)


def test_currencies_are_never_added(log: Log) -> None:
    buy(log, "Shed", "40", "EUR")
    put(log, "Shed", "sale", "100", "USD")
    put(log, "Attic", "sale", "7", "GBP")
    (ann,) = accounts_by(log.contents(), "seller")
    assert ann.profit == {"EUR": Decimal(-40), "USD": Decimal(100), "GBP": Decimal(7)}
    assert ledger_document(log.contents())["accounts"][0]["profit"] == {"EUR": "-40", "USD": "100"}


def test_offers_beside_what_came(log: Log) -> None:
    log.add_offer("Shed", offer(1, 2))
    log.add_offer("Shed", offer(80, 120))  # the last one before the sale counts
    buy(log, "Shed", "40")
    put(log, "Shed", "cost", "45")
    put(log, "Shed", "sale", "100")
    log.add_offer("Shed", offer(1, 2))
    log.add_offer("Attic", offer(80, 120))
    put(log, "Attic", "settlement", "130", charges="20", what="")
    put(log, "Barn", "sale", "5")
    contents = log.contents()
    shed, attic, barn = outcomes(contents)
    assert shed.expected is not None
    assert (shed.expected.low, shed.expected.high, shed.came_in, shed.proceeds_held) == (80, 120, Decimal(100), True)
    # by the offer 100 - 10 ± 20 as a gift, so 30 to 70 at 40 EUR; 15 came, because costs were 45
    assert shed.expected_profit is not None
    assert (shed.expected_profit.low, shed.expected_profit.high) == (30, 70)
    assert (shed.profit, shed.profit_held) == (Decimal(15), False)
    # proceeds are compared before the refiner's charges, as the offer has them; without a price there is no profit
    assert (attic.came_in, attic.proceeds_held, attic.profit, attic.profit_held) == (Decimal(130), False, None, None)
    assert "no offer" in barn.why_not
    told = ranges_held(outcomes(contents))
    assert {what: (share.hits, share.cases) for what, share in told.items()} == {"proceeds": (1, 2), "profit": (0, 1)}
    assert "held 1 of 2" in held_sentences(outcomes(contents))[0]


@pytest.mark.parametrize(
    ("document", "why"),
    [
        (offer(80, 120, currency="USD"), "not all of its money is in USD"),
        ({"currency": "EUR"}, "no range of proceeds"),
        ({"currency": "EUR", "proceeds": {"value": "much"}, "highest_price": 3}, "no range of proceeds"),
        ({}, "not all of its money is in one currency"),
    ],
)
def test_an_offer_that_cannot_be_compared_says_why(log: Log, document: dict[str, Any], why: str) -> None:
    log.add_offer("Shed", document)
    buy(log, "Shed", "40")
    put(log, "Shed", "sale", "100")
    (outcome,) = outcomes(log.contents())
    assert why in outcome.why_not
    assert ranges_held([outcome]) == {}


def test_an_offer_without_a_gift_in_its_curve_has_no_range_of_profit(log: Log) -> None:
    log.add_offer("Shed", {**offer(80, 120), "curve": []})
    buy(log, "Shed", "40")
    put(log, "Shed", "sale", "100")
    (outcome,) = outcomes(log.contents())
    assert (outcome.proceeds_held, outcome.profit_held) == (True, None)


def test_a_correction_of_a_sale_leaves_the_offer_that_was_saved_before_it(log: Log) -> None:
    buy(log, "Shed", "40")
    log.add_offer("Shed", offer(80, 120))
    number = put(log, "Shed", "sale", "1000")
    log.add_offer("Shed", offer(900, 1100))
    again = checked(NewMoney, kind="sale", what="x", amount="100", currency="EUR", day=DAY)
    log.correct_money(number, again, "a zero too many")
    (outcome,) = outcomes(log.contents())
    assert outcome.expected is not None
    assert (outcome.expected.high, outcome.proceeds_held) == (120, True)


def test_a_sale_of_an_earlier_day_is_not_foretold_by_a_later_offer(log: Log) -> None:
    log.add_offer("Shed", offer(80, 120))
    put(log, "Shed", "sale", "100", day=date(2026, 1, 1))
    assert "no offer" in outcomes(log.contents())[0].why_not


AMOUNTS = st.decimals(0, 10**6, places=2)
ENTRIES = st.lists(
    st.tuples(
        st.sampled_from(["purchase", "cost", "sale", "settlement"]),
        st.integers(1, 3),
        AMOUNTS,
        AMOUNTS,
        st.sampled_from(["EUR", "USD"]),
        st.booleans(),
    ),
    max_size=20,
)


def contents_of(entries: list[tuple[str, int, Decimal, Decimal, str, bool]]) -> Contents:
    """Entries one after another; some take the place of the last of their kind."""
    lots = tuple(LoggedLot(n, f"Lot {n}", "Ann" if n < 3 else "", "", NOW) for n in (1, 2, 3))
    bought: list[Purchase] = []
    money: list[MoneyEntry] = []
    for kind, lot, amount, charges, currency, corrects in entries:
        if kind == "purchase":
            old = bought[-1].id if corrects and bought else None
            new = Purchase(len(bought) + 1, lot, NOW, amount, currency, None, None, DAY, corrects=old)
            bought.append(new)
        else:
            same = [m.id for m in money if m.kind == kind]
            of_kind: MoneyKind = kind  # type: ignore[assignment]
            kept_back = charges if kind == "settlement" else Decimal(0)
            number, old = len(money) + 1, same[-1] if corrects and same else None
            money.append(
                MoneyEntry(number, lot, of_kind, "x", amount, kept_back, currency, None, DAY, "", "", NOW, old)
            )
    return Contents(lots, (), (), tuple(bought), (), (), money=tuple(money))


def by_currency(amounts: list[tuple[str, Decimal]]) -> dict[str, Decimal]:
    total = {c: sum((a for of, a in amounts if of == c), Decimal(0)) for c in ("EUR", "USD")}
    return {c: a for c, a in total.items() if a}


@settings(max_examples=100, deadline=None)
@given(ENTRIES)
def test_profit_is_the_sum_of_what_is_in_force(entries: list[tuple[str, int, Decimal, Decimal, str, bool]]) -> None:
    contents = contents_of(entries)
    expected = [(p.currency, -p.price, p.lot_id) for p in contents.current_purchases()]
    expected += [(m.currency, m.balance, m.lot_id) for m in contents.current_money()]
    each = {a.name: a for a in accounts(contents)}
    for lot in contents.lots:
        its = by_currency([(c, amount) for c, amount, of in expected if of == lot.id])
        told = each[lot.name].balance if lot.name in each else {}
        assert {c: a for c, a in told.items() if a} == its
    for by in ("seller", "part"):
        groups = accounts_by(contents, by)
        in_groups = by_currency([pair for g in groups for pair in (g.profit or {}).items()])
        assert in_groups == by_currency([pair for a in each.values() for pair in (a.profit or {}).items()])
        assert sum(g.sold + g.open for g in groups) == len(each)
