"""Grades from shared draws: orders, thresholds, and what the ranges cannot tell."""

from dataclasses import replace
from datetime import date
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import RefusedError, UsageError
from calibration.inputs import Input
from calibration.sourced import load_inputs
from grader.grade import Candidate, Grades, Measure, Thresholds, grade_boards, load_thresholds, with_weight
from grader.grade.words import cut_part_rows, grade_notes, graded_rows, grades_document, order_lines
from grader.model import EMPTY, ProductModel
from grader.valuation import Assumptions, load_assumptions, with_given

SPOT_USD_G = 85.0
# spread of the logarithm of how well plating is told on one board by itself
OWN = load_inputs("board_errors")["plating_of_board"].distribution.parameters[1]


def known(name: str, value: float, unit: str = "") -> Input:
    return Input.named(name, name, Distribution("constant", (value,)), "given", unit)


def spread(name: str, sigma: float = 0.6) -> Input:
    return Input.named(name, name, Distribution("lognormal", (1.0, sigma)), "given")


THICKNESS = spread("thickness:hard_gold")


def board(
    name: str,
    gold_mg: float,
    mass_g: float = 2.0,
    cuts: int | None = 2,
    part: str = "cards",
    whole_g: float = 10.0,
    inputs: tuple[Input, ...] = (THICKNESS,),
) -> Candidate:
    return Candidate(
        name,
        part,
        ProductModel.of(gold_mg, inputs),
        ProductModel.of(mass_g, ()),
        ProductModel.of(whole_g, ()),
        cuts,
    )


def bare(name: str) -> Candidate:
    why = RefusedError("no-gold-to-keep", "No gold.", "Leave it.")
    return Candidate(name, "cards", EMPTY, EMPTY, ProductModel.of(10.0, ()), None, why_not=why)


@pytest.fixture(scope="module")
def prices() -> Assumptions:
    return with_given(load_assumptions(), spot=f"{SPOT_USD_G} USD/g", spot_date=date(2026, 11, 20))


@pytest.fixture(scope="module")
def certain() -> Assumptions:
    """Everything about money known."""
    given_ = with_given(
        load_assumptions(), spot=f"{SPOT_USD_G} USD/g", spot_date=date(2026, 11, 20), payable="90 %", recovery="80 %"
    )
    (whole,) = (s for s in given_.sales if s.name == "whole")
    return replace(given_, drift=None, sales=(replace(whole, price=known("price:whole", 8.0, "USD/kg")),))


@pytest.fixture(scope="module")
def thresholds() -> Thresholds:
    return load_thresholds()


def fixed_times(t: Thresholds) -> Thresholds:
    return replace(
        t,
        board_h=known("work:board", 0.5 / 60, "h"),
        cut_h=known("work:cut", 0.25 / 60, "h"),
        sale_h=known("work:sale", 0.2 / 60, "h"),
    )


def test_figures_are_what_arithmetic_says(certain: Assumptions, thresholds: Thresholds) -> None:
    grades = grade_boards([board("a", 4.0, 2.0, 2, inputs=())], certain, fixed_times(thresholds))
    (graded,) = grades.boards
    value = 4e-3 * SPOT_USD_G * 0.8 * 0.9
    assert graded.figures is not None
    # the one thing left is how well plating is told on the board, of median 1
    assert graded.figures.value.value == pytest.approx(value, rel=5e-3)
    assert graded.figures.per_gram.value == pytest.approx(value / 2.0, rel=5e-3)
    assert graded.figures.per_minute.value == pytest.approx(value / (0.5 + 2 * 0.25), rel=5e-3)
    assert graded.figures.per_gram.high / graded.figures.per_gram.value == pytest.approx(
        np.exp(NormalDist().inv_cdf(0.95) * OWN), rel=0.01
    )
    assert graded.sale is not None
    assert graded.sale.value == pytest.approx(10e-3 * 8.0)


def test_a_shared_thickness_does_not_blur_the_order(prices: Assumptions, thresholds: Thresholds) -> None:
    boards = [board("a", 4.0), board("b", 5.2)]
    best, other = grade_boards(boards, prices, thresholds).boards
    assert best.candidate.name == "b"
    assert best.figures is not None
    assert other.figures is not None
    assert best.figures.per_gram.low < other.figures.per_gram.value < best.figures.per_gram.high
    # all that is left between the two is each board's own error: Φ(ln 1.3 ÷ (√2 σ))
    assert best.before_next == pytest.approx(NormalDist().cdf(np.log(1.3) / (np.sqrt(2) * OWN)), abs=0.01)
    assert other.before_next is None


def test_parts_plated_apart_are_not_told_by_a_shared_thickness(prices: Assumptions, thresholds: Thresholds) -> None:
    boards = [board("a", 4.0, part="cards"), board("b", 5.2, part="modules")]
    grades = grade_boards(boards, prices, thresholds)
    # lognormal values of two parts: Φ(ln 1.3 ÷ √(2 (0.6² + σ²)))
    expected = NormalDist().cdf(np.log(1.3) / np.sqrt(2 * (0.6**2 + OWN**2)))
    assert grades.boards[0].before_next == pytest.approx(expected, abs=0.01)
    assert [p.name for p in grades.parts] == ["modules", "cards"]
    assert grades.parts[0].before_next == pytest.approx(expected, abs=0.01)
    lines = order_lines(grades)
    assert any(line.startswith("b and a cannot be told apart") for line in lines)
    assert any(line.startswith("Part modules and Part cards cannot be told apart") for line in lines)


def test_neighbours_that_are_told_apart_are_said_to_be(prices: Assumptions, thresholds: Thresholds) -> None:
    grades = grade_boards([board("a", 4.0), board("b", 8.0), board("c", 7.9)], prices, thresholds)
    names = [g.candidate.name for g in grades.boards]
    assert names[:2] == ["b", "c"]
    lines = order_lines(grades)
    assert lines[0].startswith("b and c cannot be told apart")
    if len({g.grade for g in grades.boards}) == 1:
        assert lines[1].startswith("The other neighbours")


def test_scale_of_a_photo_does_not_blur_its_boards_either(prices: Assumptions, thresholds: Thresholds) -> None:
    photo = spread("scale:abc", 0.3)
    same = grade_boards([board("a", 4, inputs=(photo,)), board("b", 4.8, inputs=(photo,))], prices, thresholds)
    others = grade_boards(
        [board("a", 4, inputs=(photo,)), board("b", 4.8, inputs=(spread("scale:xyz", 0.3),))], prices, thresholds
    )
    assert same.boards[0].before_next is not None
    assert others.boards[0].before_next is not None
    assert same.boards[0].before_next > others.boards[0].before_next + 0.1


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(0.2, 9), min_size=2, max_size=5, unique=True), st.randoms())
def test_the_order_of_the_files_does_not_matter(gold: list[float], shuffle: object) -> None:
    prices = with_given(load_assumptions(), spot=f"{SPOT_USD_G} USD/g", spot_date=date(2026, 11, 20))
    boards = [board(f"board {i}", g, 1 + i % 2) for i, g in enumerate(gold)]
    mixed = list(boards)
    shuffle.shuffle(mixed)  # type: ignore[attr-defined]
    one, two = (grade_boards(b, prices, load_thresholds(), draws=2000) for b in (boards, mixed))
    assert [g.candidate.name for g in one.boards] == [g.candidate.name for g in two.boards]
    assert [g.before_next for g in one.boards] == [g.before_next for g in two.boards]


def count(grades: Grades, word: str) -> int:
    return sum(g.grade == word for g in grades.boards)


def test_higher_thresholds_never_let_more_boards_in(prices: Assumptions, thresholds: Thresholds) -> None:
    boards = [board(f"b{i}", 1.5 * i, 1 + i % 3, i % 4, whole_g=5.0) for i in range(1, 9)]
    for field, values in (
        ("least_per_kg", (0, 50, 100, 200, 1e4)),
        ("least_per_h", (0, 6, 12, 30, 1e4)),
        ("chance", (0.1, 0.5, 0.9, 0.99)),
    ):
        counts = [count(grade_boards(boards, prices, replace(thresholds, **{field: v})), "process") for v in values]
        assert counts == sorted(counts, reverse=True), field
        assert counts[-1] < counts[0]
    sales = [
        count(grade_boards(boards, prices, replace(thresholds, least_per_kg=1e9, sale_least_per_h=v)), "sell_whole")
        for v in (0, 10, 30, 1e6)
    ]
    assert sales == sorted(sales, reverse=True)
    assert (sales[0], sales[-1]) == (8, 0)


def test_a_board_that_sells_for_more_than_its_gold_is_sold(certain: Assumptions, thresholds: Thresholds) -> None:
    light, heavy = board("light", 3.0, 1.0, whole_g=5.0, inputs=()), board("heavy", 3.0, 1.0, whole_g=60.0, inputs=())
    by_name = {g.candidate.name: g for g in grade_boards([light, heavy], certain, fixed_times(thresholds)).boards}
    assert by_name["light"].grade == "process"
    # 3 mg bring 0.18 USD less 0.03 for the gram; 60 g at 8 USD/kg bring 0.48 USD
    assert by_name["heavy"].grade == "sell_whole"
    assert by_name["heavy"].sells_better
    assert by_name["heavy"].chance > 0.9


def test_what_cannot_be_processed_is_sold_or_left(prices: Assumptions, thresholds: Thresholds) -> None:
    grades = grade_boards([bare("bare"), board("good", 9.0, 1.0)], prices, thresholds)
    assert [(g.candidate.name, g.grade) for g in grades.boards] == [("good", "process"), ("bare", "sell_whole")]
    unsold = grade_boards([bare("bare")], replace(prices, sales=()), thresholds)
    assert unsold.boards[0].grade == "leave"
    assert unsold.boards[0].sale is None
    assert unsold.parts[0].figures is None
    document = grades_document(unsold, thresholds)
    assert document["boards"][0]["why_not"]["code"] == "no-gold-to-keep"


def test_ranking_by_minute_can_turn_the_order(certain: Assumptions, thresholds: Thresholds) -> None:
    fiddly, quick = board("fiddly", 4.0, 1.0, cuts=8, inputs=()), board("quick", 4.0, 2.0, cuts=0, inputs=())
    certain, thresholds = replace(certain, sales=()), replace(thresholds, least_per_h=0.0)
    order: dict[Measure, list[str]] = {
        by: [g.candidate.name for g in grade_boards([fiddly, quick], certain, fixed_times(thresholds), by=by).boards]
        for by in ("gram", "minute")
    }
    assert order == {"gram": ["fiddly", "quick"], "minute": ["quick", "fiddly"]}


def test_parts_add_up_their_boards(certain: Assumptions, thresholds: Thresholds) -> None:
    boards = [board("a", 4.0, 1.0, part="x", inputs=()), board("b", 2.0, 3.0, part="x", inputs=())]
    grades = grade_boards([*boards, board("c", 1.0, 1.0, part="y", inputs=())], certain, fixed_times(thresholds))
    x = next(p for p in grades.parts if p.name == "x")
    assert x.figures is not None
    assert x.figures.mass_g.value == pytest.approx(4.0)
    assert x.figures.gold_mg.value == pytest.approx(6.0, rel=0.01)
    assert x.figures.per_gram.value == pytest.approx(6e-3 * SPOT_USD_G * 0.8 * 0.9 / 4.0, rel=0.01)
    assert sum(x.boards.values()) == 2
    assert len(cut_part_rows(grades)) == 2


def test_what_is_not_known_is_asked_for(prices: Assumptions, thresholds: Thresholds) -> None:
    for change, code in (
        ({"candidates": []}, "boards-none"),
        ({"assumptions": load_assumptions()}, "spot-missing"),
        ({"thresholds": replace(thresholds, currency="EUR")}, "currencies-differ"),
    ):
        given_ = {"candidates": [board("a", 1)], "assumptions": prices, "thresholds": thresholds, **change}
        with pytest.raises(UsageError) as told:
            grade_boards(**given_)
        assert told.value.code == code


def test_learned_thickness_is_not_multiplied_by_recovery(prices: Assumptions, thresholds: Thresholds) -> None:
    learned = Input(
        "thickness", "t", Distribution("constant", (1.0,)), "yields", "um", of=("hard_gold",), belief="abc"
    )
    published = known("thickness:hard_gold", 1.0)
    values = [
        grade_boards([board("a", 4.0, inputs=(i,))], prices, thresholds).boards[0].figures
        for i in (learned, published)
    ]
    assert values[0] is not None
    assert values[1] is not None
    recovery = float(np.median(prices.recovery.draws()))
    assert values[1].value.value == pytest.approx(values[0].value.value * recovery, rel=0.02)


def test_rows_and_notes_say_what_was_found(prices: Assumptions, thresholds: Thresholds) -> None:
    grades = grade_boards([board("a", 4.0), board("b", 5.0, cuts=None), bare("c")], prices, thresholds)
    rows = graded_rows(grades)
    assert {row[0] for row in rows} == {"a", "b", "c"}
    assert all(len(row) == len(rows[0]) for row in rows)
    notes = " ".join(grade_notes(grades, thresholds))
    assert "shipped examples" in notes
    assert "count whole" in notes
    assert "shipped examples" not in " ".join(grade_notes(grades, replace(thresholds, are_examples=False)))


def test_weighed_boards_share_what_they_weigh_together(certain: Assumptions, thresholds: Thresholds) -> None:
    boards = [board("large", 4.0, whole_g=10.0, inputs=()), board("small", 4.0, whole_g=5.0, cuts=0, inputs=())]
    large, small = with_weight(boards, 60.0)
    assert large.whole_g.draws(10).mean() == pytest.approx(40.0)
    assert small.whole_g.draws(10).mean() == pytest.approx(20.0)
    # only what goes in uncut goes in with its parts
    assert large.mass_g.draws(10).mean() == pytest.approx(2.0)
    assert small.mass_g.draws(10).mean() == pytest.approx(20.0)
    sales = [g.sale.value for g in grade_boards([large, small], certain, fixed_times(thresholds)).boards if g.sale]
    assert sorted(sales) == pytest.approx([20e-3 * 8, 40e-3 * 8])
    notes = grade_notes(grade_boards([large, small], certain, thresholds), thresholds)
    assert any("as weighed" in n for n in notes)
