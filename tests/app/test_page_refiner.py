"""A refiner's terms on the page Value: read as on the command line, told where wrong, kept for other lots."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from app.lots.shelf import Kept
from grader.bid import bid_for
from grader.lot import estimate_lot, one_part
from grader.measured import usable
from grader.valuation import load_assumptions, with_given
from grader.valuation.words import highest_words
from tests.app.valuing import GO, describe

TERMS = {
    "payable": "0 g: 85 %; 20 g: 90..93 %",
    "per-gram": "1",
    "minimum": "20",
    "lot-fee": "30",
    "assay": "20..40",
    "treatment": "200/kg",
    "melt-loss": "0.5 %",
    "least-gold": "2 g",
    "pot": "60 g",
    "interest": "8 %",
    "paid-at-once": "70 %",
    "rest-after": "4 weeks",
}


def offered(page: Any, **typed: str) -> None:
    """Offer with these fields filled in."""
    page.at.text_input(key="spot").set_value("2650 USD/ozt")
    for key, text in typed.items():
        page.at.text_input(key=key.replace("_", "-")).set_value(text)
    page.press(GO)


def test_the_terms_are_those_of_the_command_line(value_page: Any, measured: Kept, tmp_path: Path) -> None:
    describe(value_page, "4000")
    offered(value_page, **TERMS)
    estimate = estimate_lot(one_part(usable([(measured.name, measured.measured)]), boards=[4], count="4000"))
    money = {"per-gram": "1 USD", "minimum": "20 USD", "lot-fee": "30 USD", "assay": "20..40 USD"}
    texts = {**TERMS, **money, "treatment": "200 USD/kg"}
    given = {key.replace("-", "_"): text for key, text in texts.items()}
    figures = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date.today(), **given)  # type: ignore[arg-type]
    offer = bid_for(estimate, figures, today=date.today())
    assert value_page.figures()["Highest price worth paying"] == highest_words(offer)
    strip = next(r for r in offer.routes if r.name == "strip")
    plain = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date.today())
    before = next(r for r in bid_for(estimate, plain, today=date.today()).routes if r.name == "strip")
    assert abs(strip.at.expected_profit - before.at.expected_profit) > 1
    kept = json.loads((tmp_path / "data" / "page.json").read_text("utf-8"))["entries"]
    assert TERMS.items() <= kept.items()


@pytest.mark.parametrize(
    ("typed", "word"),
    [
        ({"payable": "20 g: 85 %"}, "does not begin at 0 g"),
        ({"treatment": "200 USD"}, "is not per kilogram"),
        ({"least-gold": "10"}, "10"),
        ({"melt-loss": "150 %"}, "150 %"),
        ({"paid-at-once": "70 %", "rest-after": "4 weeks"}, "changes nothing"),
        ({"interest": "8 %", "paid-at-once": "70 %"}, "belong together"),
    ],
)
def test_a_wrong_term_is_told_and_not_kept(value_page: Any, typed: dict[str, str], word: str, tmp_path: Path) -> None:
    offered(value_page, **typed)
    assert not value_page.at.metric
    assert any(word in text for text in value_page.told("error"))
    value_page.run()
    kept = json.loads((tmp_path / "data" / "page.json").read_text("utf-8"))["entries"]
    wrong = set(typed) - {"interest"}
    assert not any(kept.get(key) for key in wrong)
