"""From an estimated lot to the bid."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from calibration.distributions import Distribution
from grader.bid import WorkBench, bid_for
from grader.lot import LotEstimate
from grader.units import parse_asking_price, parse_exchange
from grader.valuation import Assumptions, Offer, SaleTexts, load_assumptions, with_given
from grader.valuation.exchange import carried_over
from tests.grader.bid.test_heaps import BARE, MODULE, lot

FREE = Distribution("constant", (0.0,))
TODAY = date(2026, 11, 25)


def figures(**entries: object) -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=TODAY, **entries)  # type: ignore[arg-type]


def bid(estimate: LotEstimate, a: Assumptions | None = None, **more: object) -> Offer:
    return bid_for(estimate, a or figures(), today=TODAY, draws=20_000, **more)  # type: ignore[arg-type]


def costless(a: Assumptions) -> Assumptions:
    """Without any cost, so that a way is worth what it brings."""
    sales = tuple(replace(s, costs=(), hours=None) for s in a.sales)
    return replace(a, charges=(), sales=sales)


@pytest.mark.parametrize("sales", [{}, {"trim": SaleTexts("60 USD/kg")}])
def test_without_a_plated_row_trimmed_pieces_are_worth_nothing(sales: dict[str, SaleTexts]) -> None:
    """Neither by their gold nor as a class; sold whole the same boards bring something."""
    found = bid(lot(BARE, BARE, count=4000), costless(figures(sales=sales)))
    profit = {r.name: r.at.expected_profit for r in found.routes}
    assert profit["trim"] == pytest.approx(-found.budget_price)
    assert found.route == "whole"
    assert found.highest.price > 0


def test_a_class_of_pieces_is_paid_by_the_mass_that_is_cut_off() -> None:
    """133.35 mm x some 4.1 mm at 0.334 g/cm2 a board (see test_heaps): 4000 of them are some 7.3 kg."""
    found = bid(lot(MODULE, count=4000), costless(figures(sales={"trim": SaleTexts("60 USD/kg")})))
    trim = next(r for r in found.routes if r.name == "trim")
    by_hand = 4000 * 133.35 * (2.55 + 4.7 / 3) * 0.003343e-3 * 60
    assert trim.break_even == pytest.approx(by_hand, rel=0.03)


def test_pieces_paid_by_their_gold_bring_a_share_of_it() -> None:
    a = costless(figures())
    found = bid(lot(MODULE, count=4000), a)
    trim = next(r for r in found.routes if r.name == "trim")
    gold_g = 4000 * 5e-3 * 1.0833  # mean of a lognormal of 0.4: exp(0.08)
    assert trim.break_even == pytest.approx(gold_g * 2650 / 31.1034768 * (0.4 + 0.6 + 0.75) / 3, rel=0.01)


def test_a_mixed_lot_is_best_sorted_where_bodies_and_bare_boards_bring_something() -> None:
    found = bid(lot(MODULE, MODULE, BARE, BARE, count=4000))
    ways = {r.name: r.highest_price for r in found.routes}
    assert "sort" in ways
    assert found.highest.price == max(ways.values())


def test_asking_prices_by_the_board_are_for_all_boards() -> None:
    found = bid(lot(MODULE, count=400), asking=parse_asking_price("0.50 USD/board"))
    assert found.asking is not None
    assert found.asking.price == pytest.approx(200)
    data = found.as_json()
    assert data["asked"] == "0.50 USD/board"
    assert {i["kind"] for i in data["bench"]} >= {"process", "work"}


def test_another_process_changes_what_chemicals_cost() -> None:
    bench = WorkBench.example()
    figured = bench.process.figures
    free = {**figured, "price_hydrochloric": replace(figured["price_hydrochloric"], distribution=FREE)}
    cheap = replace(bench, process=replace(bench.process, figures=free))
    estimate = lot(MODULE, count=4000)
    one, other = (bid(estimate, bench=b).routes[0].needs["chemicals"].value for b in (bench, cheap))
    assert other < one


def test_the_bench_is_carried_over_with_the_other_examples() -> None:
    """A bid in euros is the one in dollars at the rate, with the same loads and hours."""
    rate = parse_exchange("1 USD = 0.92 EUR", TODAY)
    euros = with_given(carried_over(load_assumptions(), rate), spot="2438 EUR/ozt", spot_date=TODAY)
    dollars, estimate = figures(), lot(MODULE, count=4000)
    one, other = (bid(estimate, a) for a in (dollars, euros))
    assert other.highest.price == pytest.approx(0.92 * one.highest.price, rel=1e-3)
    for before, after in zip(one.routes, other.routes, strict=True):
        assert set(after.needs) == set(before.needs)
        assert after.hours == pytest.approx(before.hours)
    assert other.routes[0].needs["load"] == one.routes[0].needs["load"]
    assert other.routes[0].needs["chemicals"].value == pytest.approx(0.92 * one.routes[0].needs["chemicals"].value)
