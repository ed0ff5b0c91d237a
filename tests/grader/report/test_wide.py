"""The words on a range's width say what the budget says."""

from __future__ import annotations

import re

import pytest

from grader.budget import TOGETHER
from grader.measured import BudgetShare, Measured
from grader.model import Range
from grader.photo import load_photo
from grader.pipeline import measure
from grader.report.wide import wide_sentences
from grader.request import Request
from grader.samples import load_demo


def measured(shares: dict[str, float], low: float = 2.0, high: float = 28.0) -> Measured:
    budget = tuple(
        BudgetShare(input=name, title=f"the {name}", share_of_variance=share) for name, share in shares.items()
    )
    return Measured(photo="a.jpg", gold_mg=Range(10.0, low, high), budget=budget)


def test_one_cause_is_named_with_its_share_and_its_remedy() -> None:
    ends, cause, remedy = wide_sentences(measured({"segmentation:ab12": 0.04, "thickness:hard_gold": 0.94}))
    assert "14\N{NO-BREAK SPACE}times" in ends
    assert "one thing: the thickness:hard_gold (94\N{NO-BREAK SPACE}%)" in cause
    assert "weigh what a batch gives" in remedy


@pytest.mark.parametrize(("low", "told"), [(20.0, "1.4"), (0.2, "140"), (0.01, "2800")])
def test_how_far_the_ends_are_apart_is_never_written_with_an_exponent(low: float, told: str) -> None:
    assert f" {told}\N{NO-BREAK SPACE}times" in wide_sentences(measured({"thickness:hard_gold": 1.0}, low))[0]


def test_two_causes_are_named_the_larger_first() -> None:
    sentences = wide_sentences(measured({"thickness:hard_gold": 0.35, "scale-tilt:ab12": 0.45, TOGETHER: 0.2}))
    assert (
        "the scale-tilt:ab12 (45\N{NO-BREAK SPACE}%) and the thickness:hard_gold (35\N{NO-BREAK SPACE}%)"
        in sentences[1]
    )
    assert len(sentences) == 4


def test_many_causes_get_no_false_culprit() -> None:
    shares = {f"scale-fit:{n}": 0.2 for n in range(5)}
    sentences = wide_sentences(measured(shares))
    assert "Many things" in sentences[1]
    assert len(sentences) == 3, "the same remedy is said once"


def test_no_line_may_end_between_a_number_and_what_it_counts() -> None:
    for share in (0.9994, 0.94, 0.3, 0.0004):
        sentences = wide_sentences(measured({"thickness:hard_gold": share}))
        assert not any(re.search(r"\d (%|times)", sentence) for sentence in sentences)
        assert sum(len(re.findall(r"\d\N{NO-BREAK SPACE}(?:%|times)", sentence)) for sentence in sentences) == 2


@pytest.mark.parametrize(("low", "high", "shares"), [(5.0, 5.0, {"thickness": 1.0}), (0.0, 0.0, {})])
def test_without_a_range_there_is_nothing_to_say(low: float, high: float, shares: dict[str, float]) -> None:
    assert wide_sentences(measured(shares, low, high)) == ()


def test_a_low_end_of_zero_has_no_ratio() -> None:
    assert not any("times" in s for s in wide_sentences(measured({"thickness:hard_gold": 1.0}, low=0.0)))


@pytest.mark.usefixtures("search_once")
def test_a_real_measurement_gets_a_remedy() -> None:
    sample = load_demo().samples[0]
    made = Measured.of(measure(load_photo(sample.path), Request()))
    assert len(wide_sentences(made)) >= 3
