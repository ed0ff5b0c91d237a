"""An offer in words: which lines are shown, in which order, with digits that its range supports."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.budget import TOGETHER, BudgetLine
from grader.model import Range
from grader.units import AskingPrice, LotSize, Money
from grader.valuation import Assumptions, AtPrice, Offer, RouteOutcome, Spot
from grader.valuation.information import Question
from grader.valuation.notices import notice
from grader.valuation.outcomes import OverMany
from grader.valuation.words import (
    assumed_lines,
    at_price,
    at_price_lines,
    break_even_words,
    budget_lines,
    curve_rows,
    each_words,
    highest_words,
    lot_rows,
    over_many_words,
    question_rows,
    route_rows,
    routes_heading,
    summary_lines,
    swing_lines,
)


def known(name: str, *values: float, unit: str = "", kind: str = "") -> Input:
    kinds = ("constant", "uniform", "triangular")
    return Input.named(name, f"the {name}", Distribution(kind or kinds[len(values) - 1], values), "test", unit)


ASSUMED = Assumptions(
    currency="USD",
    payable=known("payable", 0.9),
    recovery=known("recovery", 0.8, 0.95),
    charges=(),
    fee=known("fee", 0.0),
    tax=known("tax", 0.081),
    spot=Spot(known("spot", 85.0, unit="USD/g"), date(2026, 11, 25)),
    examples=frozenset({"payable"}),
)


def at(price: float, profit: float = 30.0, worst: float = -20.0, best: float = 100.0) -> AtPrice:
    return AtPrice(price, profit, 0.123, worst, best)


WAY = RouteOutcome("strip", "strip and refine", at(50.0, 31.4), 61.239, 104.987, 4.0, 15.678, 63.21)


def made(**changes: Any) -> Offer:
    plain = Offer(
        route="strip",
        gold_mg=Range(1500.0, 900.0, 2500.0),
        proceeds=Range(120.0, 70.0, 200.0),
        costs=Range(12.0, 10.0, 14.0),
        own_time=Range(0.0, 0.0, 0.0),
        break_even=104.987,
        highest=at(61.239),
        over_many=OverMany(0.25, "strip", "strip and refine", at(80.129)),
        reason=None,
        asking=None,
        asked=None,
        routes=(WAY,),
        budget=(),
        budget_price=61.239,
        curve=tuple(at(10.0 * n, 60 - 10.0 * n, 10 - 10.0 * n, 130 - 10.0 * n) for n in range(26)),
        questions=(),
        assumptions=ASSUMED,
        lot=({"name": "cards", "boards_seen": 3, "boards": 41.6},),
        size=LotSize(7.5, 30.0),
        notices=(),
        statements=(),
    )
    return replace(plain, **changes)


def line(name: str, share: float, low: float | None, high: float | None) -> BudgetLine:
    return BudgetLine(name, f"the {name}", share, low, high)


def test_prices_are_rounded_down_and_nothing_where_a_reason_says_so() -> None:
    assert highest_words(made()) == "61.0 USD"
    assert break_even_words(made()) == "104 USD"
    none = made(reason=notice("even-a-gift-loses", chance="20 %", accepted="10 %"))
    assert highest_words(none) == "0.00 USD"
    # 61.239 USD over 7.5 kg and 30 boards; a pound is 0.45359237 kg
    assert each_words(made()) == "8.15 USD a kg, 3.70 USD a lb, 2.04 USD a board"
    assert each_words(made(size=LotSize(None, 30.0))) == "2.04 USD a board"
    assert each_words(none) == each_words(made(size=LotSize())) == ""


def test_the_price_over_many_lots_is_told_with_its_chance_and_another_way_by_name() -> None:
    told = over_many_words(made())
    assert told.startswith(
        "If you buy many such lots: up to 80.0 USD. 12 % of them would lose at that, and take 25 %"
    )
    other = OverMany(0.25, "whole", "sell the boards whole", at(80.129))
    assert "up to 80.0 USD, to sell the boards whole. 12 %" in over_many_words(made(over_many=other))
    assert "bring" in over_many_words(made(over_many=OverMany(0.25, "strip", "strip and refine", at(0.0))))


def test_own_time_has_a_line_only_where_it_costs() -> None:
    assert [title for title, _ in summary_lines(made())] == [
        "Gold in the visible plating", "What it brings (strip and refine)", "Costs without the price",
    ]  # fmt: skip
    assert summary_lines(made())[0][1] == "1.50 g (0.90 to 2.50 g, 90 % sure)"
    assert summary_lines(made(), "mg")[0][1].startswith("1500 mg (900 to 2500 mg")
    timed = summary_lines(made(own_time=Range(0.0, 0.0, 0.05)))
    assert timed[-1][0] == "Of these, your own time"


def test_a_way_is_shown_with_the_digits_that_its_spread_supports() -> None:
    """From -20 to 100 is 60 to either side: profits to the unit; an hour of four to the unit, of many to the cent."""
    way = WAY
    quick = replace(
        way, highest_price=0.0, title="sell", hours=0.5, profit_per_hour=15.678, at=at(50.0, 31.4, 0.0, 30.0)
    )
    leave = replace(way, name="leave", title="do not buy", profit_per_hour=None)
    assert route_rows(made(routes=(way, quick, leave))) == [
        ("strip and refine", "61.0 USD", "31 USD", "12 %", "−20 USD", "16 USD", "63 USD"),
        ("sell", "0.00 USD", "31 USD", "12 %", "0 USD", "16 USD", "63 USD"),
        ("do not buy", "", "31 USD", "12 %", "−20 USD", "", "63 USD"),
    ]
    slow = replace(way, hours=12.0)
    assert route_rows(made(routes=(slow,)))[0][5] == "15.68 USD"


def test_the_dearest_questions_are_asked_and_trifles_are_not() -> None:
    asked = tuple(Question(f"q{n}", 100.0 - 15 * n, (f"i{n}",)) for n in range(6))
    extra = (Question("q6", 3.0, ("i6",)), Question("q7", 2.5, ("i7",)))
    rows = question_rows(made(questions=(*asked, *extra)))
    assert [text for text, _ in rows] == [f"q{n}" for n in range(6)]
    few = question_rows(made(questions=(asked[0], Question("just", 2.0, ("a",)), Question("less", 1.9, ("b",)))))
    assert few == [("q0", "worth up to 100 USD to you"), ("just", "worth up to 2.0 USD to you")]
    assert question_rows(made()) == []


def test_every_fifth_point_of_the_curve_has_a_row() -> None:
    rows = curve_rows(made())
    assert [r[0] for r in rows] == ["0 USD", "50 USD", "100 USD", "150 USD", "200 USD", "250 USD"]
    assert rows[1] == ("50 USD", "10 USD", "−40 USD and 80 USD", "12 %")
    # a step below 10 shows cents, a spread below 10 does so for profits
    fine = tuple(at(2.0 * n, 60.0, 55.0, 65.0) for n in range(26))
    assert curve_rows(made(curve=fine))[1] == ("10.00 USD", "60.00 USD", "55.00 USD and 65.00 USD", "12 %")


def test_parts_and_headings() -> None:
    assert lot_rows(made()) == [("cards", "3", "42")]
    assert routes_heading(made()) == "Ways to deal with it, bought for 61.0 USD"
    assert at_price(made()) == ("At the highest price worth paying: strip and refine", at(61.239))
    asked = made(asking=at(75.0))
    at_asking = ("At the asking price of 75.00 USD: strip and refine", at(75.0))
    assert at_price(asked) == at_asking
    by_weight = replace(asked, asked=AskingPrice(Money(Decimal(10), "USD"), "kg"))
    assert at_price(by_weight) == (
        "At the asking price of 10 USD/kg, 75.00 USD for the lot: strip and refine",
        at(75.0),
    )
    none = made(reason=notice("even-a-gift-loses", chance="20 %", accepted="10 %"))
    assert at_price(none) is None
    assert at_price(replace(none, asking=at(75.0))) == (
        "At the asking price of 75.00 USD: strip and refine",
        at(75.0),
    )
    assert at_price_lines(at(75.0), made()) == [
        ("Expected profit", "30 USD"),
        ("Chance of a loss", "12 %"),
        ("In one case of twenty less than", "−20 USD"),
    ]
    assert at_price_lines(at(75.0, 60.0, 55.0, 65.0), made())[0] == ("Expected profit", "60.00 USD")


def test_what_moves_the_profit_is_shown_down_to_half_a_per_cent_and_eight_lines() -> None:
    small = (line("a", 0.6, -30.0, 90.0), line("b", 0.005, 28.0, 32.0), line("c", 0.0049, 29.0, 31.0))
    rest = BudgetLine(TOGETHER, "inputs acting together", 0.39, None, None)
    assert budget_lines(made(budget=(*small, rest))) == [
        ("the a", 0.6, "−30 USD to 90 USD"),
        ("the b", 0.005, "28 USD to 32 USD"),
        ("inputs acting together", 0.39, ""),
    ]
    many = tuple(line(f"l{n}", 0.1, -1.0 - n, 1.0 + n) for n in range(10))
    assert [title for title, _, _ in budget_lines(made(budget=many))] == [f"the l{n}" for n in range(8)]
    assert budget_lines(made()) == []


def test_digits_of_swings_follow_the_wider_of_proceeds_and_swings() -> None:
    sharp = Range(120.0, 119.0, 121.0)
    assert budget_lines(made(proceeds=sharp, budget=(line("a", 1.0, 27.0, 33.0),)))[0][2] == "27.00 USD to 33.00 USD"
    assert budget_lines(made(proceeds=sharp, budget=(line("a", 1.0, 5.0, 55.0),)))[0][2] == "5 USD to 55 USD"
    # one wide swing rounds the narrow one beside it too
    both = (line("a", 0.9, 5.0, 55.0), line("b", 0.1, 29.0, 31.0))
    assert budget_lines(made(proceeds=sharp, budget=both))[1][2] == "29 USD to 31 USD"
    wide = Range(120.0, 100.0, 140.0)
    assert budget_lines(made(proceeds=wide, budget=(line("a", 1.0, 27.0, 33.0),)))[0][2] == "27 USD to 33 USD"


def test_swings_from_the_widest_to_a_two_hundredth_of_it() -> None:
    lines = (
        line("narrow", 0.1, 29.0, 31.0),
        line("falling", 0.2, 80.0, -20.0),
        line("rising", 0.5, -70.0, 130.0),
        line("trifle", 0.1, 30.0, 31.0),
        BudgetLine(TOGETHER, "together", 0.1, None, None),
    )
    assert swing_lines(made(budget=lines)) == [
        ("the rising", -70.0, 130.0),
        ("the falling", -20.0, 80.0),
        ("the narrow", 29.0, 31.0),
    ]
    many = tuple(line(f"l{n}", 0.1, -1.0 - n, 1.0 + n) for n in range(10))
    assert [title for title, _, _ in swing_lines(made(budget=many))] == [f"the l{n}" for n in range(9, 1, -1)]
    assert swing_lines(made()) == []


def test_what_was_assumed_with_its_units_and_ends() -> None:
    said = dict(assumed_lines(made()))
    assert said["gold price of 2026-11-25"] == "85 USD/g = 2643.8 USD/ozt"
    assert said["the payable"] == "90 % (example)"
    assert said["the recovery"] == "80 to 95 %"
    assert said["the tax"] == "8.1 %"
    assert "the spot" not in said
    ranged = replace(ASSUMED, spot=Spot(known("spot", 80.0, 90.0, unit="USD/g"), date(2026, 11, 25)))
    assert dict(assumed_lines(made(assumptions=ranged)))["gold price of 2026-11-25"] == "80 to 90 USD/g"
    assert "the spot" not in dict(assumed_lines(made(assumptions=replace(ASSUMED, spot=None))))


def test_amounts_have_six_digits_and_shares_three_or_four() -> None:
    exact = replace(
        ASSUMED,
        spot=Spot(known("spot", 1234.5678, unit="USD/g"), date(2026, 11, 25)),
        recovery=known("recovery", 0.81234, 0.95678),
    )
    said = dict(assumed_lines(made(assumptions=exact)))
    assert said["gold price of 2026-11-25"].startswith("1234.57 USD/g = 38399.4 USD/ozt")
    assert said["the recovery"] == "81.2 to 95.7 %"


def test_a_range_without_an_end_is_shown_by_nine_cases_in_ten() -> None:
    """A lognormal drift of median 1 and width 0.1: exp(∓0.1645) are 84.8 % and 117.9 %."""
    drift = known("drift", 1.0, 0.1, kind="lognormal")
    said = dict(assumed_lines(made(assumptions=replace(ASSUMED, drift=drift))))["the drift"]
    low, high = (float(word) for word in said.removesuffix(" %").split(" to "))
    assert (low, high) == pytest.approx((84.8, 117.9), abs=0.5)
    assert (
        dict(assumed_lines(made(assumptions=replace(ASSUMED, payable=known("payable", 0.98765)))))["the payable"]
        == "98.77 % (example)"
    )
