"""Gold that waits for one settlement: what waits, and a settlement shared out to the cent."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.sourced import load_figures
from grader.learn import accounts
from grader.learn.pot import WaitingGold, split_settlement, waiting_gold, waiting_gold_table
from grader.log import Log, NewLot, NewMoney, NewYield, checked, open_log

DAY = date(2026, 3, 4)


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with open_log(tmp_path / "log.sqlite") as opened:
        for name in ("Shed", "Attic", "Shelf"):
            opened.add_lot(NewLot(name=name))
        yield opened


def weighed(mass_mg: float, **changes: Any) -> NewYield:
    known = {"fineness": 0.99, "fineness_known": "assayed"}
    return checked(NewYield, **{"mass_mg": mass_mg, "weighed_on": DAY, **known, **changes})


def settlement(amount: str = "310.10", **changes: Any) -> NewMoney:
    return checked(NewMoney, **{"kind": "settlement", "amount": amount, "currency": "EUR", "day": DAY, **changes})


def waiting(log: Log) -> dict[str, float]:
    return {gold.name: gold.waiting_mg for gold in waiting_gold(log.contents())}


def test_what_was_weighed_waits_until_it_is_delivered(log: Log) -> None:
    assert waiting(log) == {}
    log.add_yield("Shed", weighed(1000))
    log.add_yield("Attic", weighed(500))
    assert waiting(log) == pytest.approx({"Shed": 990, "Attic": 495})
    log.add_money("Shed", settlement(gold_mg=400.0))
    assert waiting(log) == pytest.approx({"Shed": 590, "Attic": 495})
    log.add_money("Attic", settlement())  # how much gold it was for is not said: all of it
    assert waiting(log) == pytest.approx({"Shed": 590})
    log.add_yield("Attic", weighed(100, weighed_on=date(2026, 4, 1)))
    assert waiting(log) == pytest.approx({"Shed": 590, "Attic": 99})


def test_a_corrected_yield_and_a_settlement_that_never_was_count_as_they_are_now(log: Log) -> None:
    wrong = log.add_yield("Shed", weighed(10_000))
    log.correct_yield(wrong.id, weighed(1000), "a zero too many")
    paid = log.add_money("Shed", settlement(gold_mg=500.0))
    log.correct_money(paid.id, settlement("0"), "another lot")
    assert waiting(log) == pytest.approx({"Shed": 990})


def test_gold_without_a_fineness_counts_with_the_usual_one_and_is_marked(log: Log) -> None:
    log.add_yield("Shed", weighed(1000, fineness=None, fineness_known=None))
    (gold,) = waiting_gold(log.contents())
    assert gold.waiting_mg == pytest.approx(1000 * load_figures("belief")["fineness_unknown"].value)
    assert "fineness unknown" in waiting_gold_table([gold]).rows[0][2]


def test_gold_of_lots_together_is_shared_out(log: Log) -> None:
    log.add_yield("Shed", weighed(900), {"Shed": 1.0, "Attic": 1.0, "Shelf": 1.0})
    assert waiting(log) == pytest.approx(dict.fromkeys(("Shed", "Attic", "Shelf"), 297))
    assert waiting_gold_table(waiting_gold(log.contents())).rows[-1][-1] == "891 mg"


def test_one_settlement_of_the_pot_settles_each_lot_and_is_in_its_profit(log: Log) -> None:
    log.add_yield("Shed", weighed(1000))
    log.add_yield("Attic", weighed(500))
    pot = waiting_gold(log.contents())
    kept = log.add_shares(split_settlement(settlement("100.00", charges="8.50", what="the refiner"), pot))
    assert [(m.amount, m.charges) for m in kept] == [
        (Decimal("66.67"), Decimal("5.67")),
        (Decimal("33.33"), Decimal("2.83")),
    ]
    assert [m.gold_mg for m in kept] == pytest.approx([990, 495])
    assert {m.note for m in kept} == {"pot of 2 lots"}
    assert waiting(log) == {}
    profits = {a.name: a.profit for a in accounts(log.contents())}
    assert profits == {"Shed": {"EUR": Decimal("61.00")}, "Attic": {"EUR": Decimal("30.50")}}


def test_all_shares_are_logged_or_none(log: Log) -> None:
    with pytest.raises(Exception, match="no lot"):
        log.add_shares({1: settlement(), 99: settlement()})
    assert log.contents().money == ()


@given(
    st.lists(st.floats(0.01, 1e6), min_size=1, max_size=12),
    st.decimals(0, 10**9, places=2),
    st.decimals(0, 1000, places=2),
    st.none() | st.floats(1, 1e6),
)
def test_shares_add_up_to_the_cent(
    masses: list[float], amount: Decimal, charges: Decimal, gold_mg: float | None
) -> None:
    pot = [WaitingGold(n, f"lot {n}", mg, 0.0, DAY, is_fineness_known=True) for n, mg in enumerate(masses, 1)]
    shared = split_settlement(settlement(str(amount), charges=str(charges), gold_mg=gold_mg), pot)
    assert sum(m.amount for m in shared.values()) == amount
    assert sum(m.charges for m in shared.values()) == charges
    assert sum(m.gold_mg or 0 for m in shared.values()) == pytest.approx(sum(masses) if gold_mg is None else gold_mg)
    for n, mg in enumerate(masses, 1):
        assert float(shared[n].amount) == pytest.approx(float(amount) * mg / sum(masses), abs=0.01 * len(masses))
