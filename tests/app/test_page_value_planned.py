"""What was planned on the page Bench is what the page Value charges."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from app.value.planned import TOLD
from app.value.refiner_form import TERMS
from grader.bid import WorkBench, bid_for, cuts_of_boards
from grader.cut import CutRules, Vessel, cut_boards, plan_boards
from grader.lot import estimate_lot, one_part
from grader.measured import Measured, usable
from grader.valuation import Offer, load_assumptions, with_given
from grader.valuation.words import highest_words, route_rows
from tests.app.test_page_bench import EASY, ENDS, STRIP, Bench, bench
from tests.app.test_page_value import GO

__all__ = ["bench"]  # a fixture


def value(page: Any, amount: str) -> Offer:
    """The offer that the page shows."""
    page.go("value/page.py")
    page.at.text_input(key="spot").set_value("2650 USD/ozt")
    page.at.text_input(key="amount-the boards").set_value(amount)
    page.press(GO)
    found: Offer = page.at.session_state["desk-offer"][1]
    assert page.figures()["Highest price worth paying"] == highest_words(found)
    html = page.html()
    assert all(cell in html for row in route_rows(found)[:2] for cell in row[:3])
    return found


def needs(offer: Offer, name: str) -> float:
    return float(next(r for r in offer.routes if r.name == "strip").needs[name].value)


def test_the_price_takes_over_what_the_bench_planned(bench: Bench) -> None:
    bench.lay("strip.png", [STRIP], ENDS)
    before = value(bench.page, "400 boards")
    assert TOLD not in bench.text()
    bench.go(**EASY, longest="60 mm")
    bench.page.at.text_input(key="vessel-volume").set_value("250 ml")
    bench.page.run()
    after = value(bench.page, "400 boards")
    assert TOLD in bench.text()
    (cut,) = plan_boards(cut_boards(bench.done["strip.png"]), CutRules(Vessel(100, 100)))
    measured = Measured.of(bench.done["strip.png"])
    found = usable([("strip.png", measured)])
    expected = bid_for(
        estimate_lot(one_part(found, count="400")),
        with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date.today()),
        today=date.today(),
        bench=WorkBench.of(vessel="250 ml"),
        cuts={measured.sha256: cuts_of_boards([cut])},
    )
    assert needs(after, "cut") == needs(expected, "cut") == 800
    assert needs(after, "load") == needs(expected, "load") > needs(before, "load")
    assert after.highest == expected.highest


@pytest.mark.parametrize("key", TERMS)
def test_every_term_of_a_refiner_is_a_persons_own(key: str) -> None:
    from app.lots.desk import OWN

    assert key in OWN
