"""One lot, four commands: value charges what batch, grade and cut plan for it."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.batch import Feed, Vessels, plan_batch
from grader.batch.process import load_process
from grader.bid.bench import WorkBench
from grader.cut import CutRules, LongestPiece
from grader.grade import grade_boards
from grader.grade.model import Candidate
from grader.grade.thresholds import load_thresholds
from grader.model import ProductModel, Range
from grader.valuation import Assumptions, Offer, Portion, load_assumptions, value_lot, with_given
from grader.valuation.books import Bookkeeper, all_values
from grader.valuation.portions import Stock

TODAY = date(2026, 11, 25)
N = 20_000
BENCH = WorkBench.example()


def lognormal(name: str, sigma: float) -> Input:
    return Input.named(name, name, Distribution("lognormal", (1.0, sigma)), "test")


# 4000 modules: 72 kg, 8.8 kg of it with 21 g of gold cut off, in two cuts a board
GOLD = ProductModel.of(21_000.0, (lognormal("thickness:hard_gold", 0.6),))
PIECES = ProductModel.of(8_800.0, (lognormal("density", 0.1),))
LOT = Portion(
    "modules",
    GOLD,
    ProductModel.of(72_000.0, (lognormal("mass", 0.2),)),
    pieces_g=PIECES,
    stripped_g=PIECES,
    boards=ProductModel.of(4000.0, ()),
    cuts=2.0,
)


def figures(**entries: str) -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=TODAY, **entries)


def offer(portion: Portion = LOT, bench: WorkBench = BENCH, **entries: str) -> Offer:
    return value_lot(portion.gold_mg, figures(**entries), today=TODAY, portions=[portion], bench=bench, draws=N)


def drawn() -> tuple[Stock, dict[str, np.ndarray]]:
    values = all_values(LOT.models(), figures(), N, 20_101, BENCH.inputs())
    return Stock.of([LOT], values, N), dict(values)


def test_chemicals_waste_loads_and_hours_are_those_of_the_batch() -> None:
    plan = plan_batch(
        Feed(PIECES, ProductModel.of(3e5, ()), GOLD), load_process(), Vessels(1000.0, 1), figures(rate="0 USD/h")
    )
    needs = next(r.needs for r in offer().routes if r.name == "strip")
    assert needs["load"].value == plan.loads.value
    disposal = next(line for line in plan.costs if line.key == "disposal")
    chemicals = [line.amount.value for line in plan.costs if line.key not in ("disposal", "own_time")]
    assert needs["chemicals"].value == pytest.approx(sum(chemicals), rel=0.05)  # a sum of medians
    liquor = next(w for w in plan.waste if w.key == "liquor")
    assert needs["l"] == liquor.amount
    # all of it together, draw by draw
    stock, values = drawn()
    found = BENCH.stripping(stock, values)
    assert found.chemicals is not None
    price = next(c.input for c in figures().costs if c.input.name == "cost:disposal")
    together = found.chemicals.draws + found.amounts["l"].draws * values[price.name]
    assert Range.of(together) == plan.total_cost
    assert disposal.amount == Range.of(found.amounts["l"].draws * values[price.name])
    at_boards = BENCH.trimming(stock, values).amounts["h"].draws
    assert Range.of(found.amounts["h"].draws - at_boards).value == pytest.approx(plan.time.hours.value)


def test_the_gold_is_sold_after_the_days_that_the_batch_takes() -> None:
    feed = Feed(PIECES, ProductModel.of(3e5, ()), GOLD)
    for vessels in (1, 4):
        plan = plan_batch(feed, load_process(), Vessels(1000.0, vessels), figures())
        found = offer(bench=replace(BENCH, vessels=vessels)).assumptions
        assert found.weeks == pytest.approx(plan.time.days.value / 7 + 4, rel=0.02)
        assert found.drift is not None
        assert found.drift.distribution.parameters[1] == pytest.approx(0.16 * np.sqrt(found.weeks / 52.1775))
        assert "drift" in found.examples
    assert found.weeks < 12
    assert offer(weeks="6 weeks").assumptions.weeks == 6
    assert value_lot(GOLD, figures(), today=TODAY, draws=N).assumptions.weeks == 6  # nothing is planned


def test_minutes_at_the_boards_are_those_of_grade() -> None:
    one = replace(LOT, boards=ProductModel.of(1.0, ()))
    board = Candidate(
        "board", "modules", ProductModel.of(5.0, ()), ProductModel.of(2.0, ()), ProductModel.of(18.0, ()), 2, 1
    )
    (graded,) = grade_boards([board], figures(), load_thresholds()).boards
    values = all_values(one.models(), figures(), N, 20_101, BENCH.inputs())
    minutes = BENCH.trimming(Stock.of([one], values, N), values).amounts["h"].draws * 60
    assert graded.figures is not None
    a = figures()
    assert a.spot is not None
    assert a.drift is not None
    value = 5e-3 * values[a.spot.input.name] * values[a.recovery.name] * values[a.payable.name] * values[a.drift.name]
    # grade also draws how well plating was told on the board: its middle is 1
    assert graded.figures.per_minute.value == pytest.approx(Range.of(value / minutes).value, rel=0.02)
    hours = next(r.hours for r in offer().routes if r.name == "trim")
    assert hours == pytest.approx(4000 * float(np.mean(minutes)) / 60, rel=0.01)


def test_what_a_gram_and_a_cut_cost_are_the_figures_of_cut_and_grade() -> None:
    """To the digit that they are given with: 0.03 for a gram's chemicals and waste, 0.03 for the time of a cut."""
    rules = CutRules(LongestPiece(100.0))
    stock, values = drawn()
    found = BENCH.stripping(stock, values)
    assert found.chemicals is not None
    price = next(c.input for c in figures().costs if c.input.name == "cost:disposal")
    total = found.chemicals.draws + found.amounts["l"].draws * values[price.name]
    per_gram = float(np.median(total / (stock.stripped_kg.draws * 1000)))  # type: ignore[union-attr]
    assert per_gram == pytest.approx(rules.cost_per_g, abs=0.01)
    assert load_thresholds().cost_per_kg / 1000 == pytest.approx(rules.cost_per_g)
    work = figures().work
    assert work is not None
    assert work.rate is not None
    assert float(values["work:cut"].mean() * values[work.rate.name].mean()) == pytest.approx(
        rules.cost_per_cut, abs=0.005
    )


def test_costs_grow_with_the_lot() -> None:
    """Ten times the boards: parts by weight, board and load ten times as much, what is fixed once."""

    def scaled(k: float) -> Portion:
        models = {f: getattr(LOT, f).times((), k) for f in ("gold_mg", "mass_g", "pieces_g", "stripped_g", "boards")}
        return replace(LOT, **models)

    def costs(k: float) -> dict[str, float]:
        stock_of = scaled(k)
        values = all_values(stock_of.models(), figures().with_plan(), N, 1, BENCH.inputs())
        keeper = Bookkeeper(figures().with_plan(), values, N, bench=BENCH)
        stock = keeper.stock([stock_of])
        books = keeper.books(keeper.stripping(stock), lot=stock)
        return {charge.key: float(due.draws.mean()) for charge, due, _ in books.entries}

    one, ten = costs(0.1), costs(1.0)
    assert ten["cost:disposal"] == pytest.approx(10 * one["cost:disposal"], rel=0.1)  # but for the least nitric acid
    once = 7.0 * sum(BENCH.process.figures[f].draws(N).mean() for f in ("hours_denitrating", "hours_refining"))
    assert ten["work"] - once == pytest.approx(10 * (one["work"] - once), rel=0.1)  # but for whole vessel loads
    assert ten["cost:refining"] == pytest.approx(one["cost:refining"])
    parcel = 12.0  # mean of 6..10..20
    assert ten["cost:shipping"] - parcel == pytest.approx(10 * (one["cost:shipping"] - parcel), rel=0.02)
    assert one["cost:shipping"] == pytest.approx(parcel + 0.9 * 7.2 * np.exp(0.02), rel=0.02)


def test_what_is_typed_takes_the_place_of_the_plan() -> None:
    typed = next(r for r in offer(hours="3 h").routes if r.name == "strip")
    assert typed.hours == pytest.approx(3.0)
    assert next(r for r in offer().routes if r.name == "strip").hours > 80


def test_without_a_bench_or_rows_the_figures_of_a_small_lot_hold() -> None:
    plain = value_lot(GOLD, figures(), today=TODAY, draws=N)
    assert plain.routes[0].hours == pytest.approx((2 + 4 + 8) / 3, rel=0.01)
    assert plain.routes[0].needs == {}
    unplanned = value_lot(GOLD, figures(), today=TODAY, draws=N, bench=BENCH, portions=[Portion("boards", GOLD)])
    assert unplanned.routes[0].needs == {}
    assert unplanned.routes[0].hours == pytest.approx((2 + 4 + 8) / 3, rel=0.01)
