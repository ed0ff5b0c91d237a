"""What tests of the page Value share: its button, its lot, and the offer that it should show."""

from __future__ import annotations

from datetime import date
from typing import Any

from app.lots.shelf import Kept
from grader.bid import bid_for
from grader.lot import estimate_lot, one_part
from grader.measured import usable
from grader.units import parse_money
from grader.valuation import (
    Offer,
    load_assumptions,
    with_given,
)
from grader.valuation.postage import with_postage

GO = "What can I pay?"


def expected(measured: Kept, count: str, boards: int | None = 4, **given: Any) -> Offer:
    found = usable([(measured.name, measured.measured)])
    seen = [] if boards is None else [boards]
    estimate = estimate_lot(one_part(found, boards=seen, count=count, mass=given.pop("mass", "")))
    asking, postage = given.pop("asking", None), given.pop("postage", None)
    figures = with_given(load_assumptions(), spot_date=date.today(), **given)
    figures = figures if postage is None else with_postage(figures, postage)
    return bid_for(estimate, figures, today=date.today(), asking=parse_money(asking) if asking else None)


def describe(page: Any, count: str) -> None:
    """Say that the photo shows four boards, and how many are in the lot."""
    (boards,) = (f for f in page.at.number_input if f.label == "Boards in this photo")
    boards.set_value(4)
    (counted,) = (f for f in page.at.checkbox if f.label.startswith("I counted them"))
    counted.check()
    page.type("How much is for sale", count)
