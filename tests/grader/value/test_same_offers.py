"""The same inputs give the same offer as before costs became objects.

``same_offers.json`` was written with ``figures`` below, by the last commit before that (8fcd265). On the machine that
wrote them the figures come back to the last bit, but for sums and products that are now rounded in another order.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from calibration.inputs import Distribution, Input
from grader.model import ProductModel
from grader.units import Money
from grader.value import Assumptions, Offer, SaleTexts, load_assumptions, value_lot, with_given

DAY = date(2026, 11, 25)
FIGURES = Path(__file__).with_name("same_offers.json")
PRICE: Mapping[str, Any] = {"spot": "2650 USD/ozt", "spot_date": DAY}

HEAD = """
currency = "EUR"
[spot]
price = "85.2 EUR/g"
date = 2026-11-25
[payable]
estimate = "90..95 %"
[recovery]
estimate = "80..92..97 %"
"""
PARCEL = """
[[cost]]
name = "parcel"
basis = "purchase"
estimate = "4..6..12 EUR"
"""
WASTE = """
[[cost]]
name = "waste"
basis = "purchase"
estimate = "2..5 EUR/l"
quantity = "1..4 l"
"""
SETTLEMENT = """
[settlement]
per_gram = "1..3 EUR"
minimum = "20..60 EUR"
"""
WORK = """
[work]
hours = "1..2..5 h"
rate = "12..18 EUR/h"
"""
SHARES = """
[fee]
estimate = "3..8 %"
[tax]
estimate = "19 %"
"""
SALES = """
[[sale]]
name = "bodies"
price = "5..9 EUR/kg"
share = "80..90 %"
hours = "1..3 h"
[[sale.cost]]
name = "parcel"
estimate = "5..9 EUR"
[[sale.cost]]
name = "box"
basis = "purchase"
estimate = "1..2 EUR"
[[sale]]
name = "all"
price = "4..11 EUR/kg"
"""
DRIFT = """
[drift]
weeks = "5 weeks"
volatility = "15 %"
"""

# name → (an own file, or None for the shipped examples; what is typed)
SETS: Mapping[str, tuple[str | None, Mapping[str, Any]]] = {
    "examples": (None, PRICE),
    "settlement typed": (None, {**PRICE, "per_gram": "0.5..1..2 USD", "minimum": "10..30 USD"}),
    "charge per gram typed": (None, {**PRICE, "per_gram": "5..9 USD/g"}),
    "a great minimum typed": (None, {**PRICE, "minimum": "50..150..500 USD"}),
    "own time typed": (None, {**PRICE, "hours": "2..4 h", "rate": "15 USD/h"}),
    "rate typed": (None, {**PRICE, "rate": "9..15 USD/h"}),
    "costs typed": (
        None,
        {
            **PRICE,
            "costs": ("12 USD", "waste = 4..8 USD/l x 2..5 l", "hood = 300 USD x 1..3 %", "purchase: box = 9 USD"),
        },
    ),
    "shares typed": (
        None,
        {
            **PRICE,
            "payable": "93 %",
            "recovery": "85..98 %",
            "fee": "2..5 %",
            "tax": "8.25 %",
            "accepted_loss": "20 %",
        },
    ),
    "sales and weeks typed": (
        None,
        {
            **PRICE,
            "weeks": "20 weeks",
            "sales": {"trim": SaleTexts("50..70 USD/kg", "5..9 %"), "whole": SaleTexts("9 USD/kg")},
        },
    ),
    "another currency typed": (None, {"spot": "85 EUR/g", "spot_date": DAY, "costs": ("20..30 EUR",)}),
    "another currency, own time and charges": (
        None,
        {
            "spot": "85 EUR/g",
            "spot_date": DAY,
            "costs": ("20..30 EUR",),
            "hours": "2..4 h",
            "rate": "15 EUR/h",
            "per_gram": "1..2 EUR",
            "sales": {"whole": SaleTexts("9 EUR/kg")},
        },
    ),
    "bare file": (HEAD, {}),
    "file with costs": (HEAD + DRIFT + PARCEL + WASTE + SHARES, {}),
    "file with all": (HEAD + DRIFT + PARCEL + WASTE + SHARES + SETTLEMENT + WORK + SALES, {}),
    "file without work": (HEAD + PARCEL + SALES, {}),
    "file with all, charges typed": (
        HEAD + PARCEL + SETTLEMENT + WORK + SALES,
        {"minimum": "90 EUR", "hours": "3 h", "costs": ("acid = 3..5 EUR",)},
    ),
}


def gold(name: str) -> ProductModel:
    """About three grams in two places; in ``low`` less than nothing in some draws."""

    def factor(kind: str, distribution: Distribution) -> Input:
        return Input(kind, kind, distribution, "test", of=(name,))

    thickness = factor("thickness", Distribution("lognormal", (1.0, 0.4)))
    scale = factor("scale-fit", Distribution("normal", (1.0, 0.03)))
    area = factor("area", Distribution("normal", (1.0, 0.8 if name == "low" else 0.1)))
    return ProductModel.of(2000.0, (thickness, scale)) + ProductModel.of(1200.0, (thickness, area))


MASS = ProductModel.of(5000.0, (Input("mass", "mass", Distribution("uniform", (0.9, 1.1)), "test"),))


def assumptions(name: str, folder: Path) -> Assumptions:
    text, typed = SETS[name]
    if text is None:
        return with_given(load_assumptions(), **typed)
    path = folder / "mine.toml"
    path.write_text(text, "utf-8")
    return with_given(load_assumptions(path), **typed)


def figures(name: str, folder: Path) -> dict[str, Any]:
    """Offers of one set of assumptions: for one purchase; for three of gold that reaches below zero."""
    a = assumptions(name, folder)
    asking = Money(Decimal(30), a.currency)
    return {
        "one": short(value_lot(gold("mid"), a, today=DAY, mass_g=MASS, asking_price=asking, draws=1000)),
        "three": short(value_lot(gold("low"), a, today=DAY, mass_g=MASS, purchases=3, draws=1000)),
    }


ROUNDING = 1e-6


def short(offer: Offer) -> dict[str, Any]:
    """An offer without what follows from the rest of it, and without sources."""
    document = offer.as_json()
    kept = {key: document[key] for key in ("proceeds", "costs", "own_time", "break_even", "highest_price")}
    return {
        **kept,
        "routes": {route.pop("route"): route for route in document["routes"]},
        "budget": {line["input"]: [line["share_of_variance"], line["profit_low"]] for line in document["budget"]},
        "questions": {q["question"]: q["worth"] for q in document["questions"] if q["worth"] > ROUNDING},
        "cost_basis": document["assumptions"]["cost_basis"],
        "inputs": {
            i["name"]: [i["title"], i["unit"], i["distribution"]["parameters"], i["example"]]
            for i in document["assumptions"]["inputs"]
        },
    }


def leaves(value: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    """Every single figure and text with the way to it."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, f"{path}/{key}")
    elif isinstance(value, list):
        for n, item in enumerate(value):
            yield from leaves(item, f"{path}/{n}")
    else:
        yield path, value


@pytest.mark.parametrize("name", SETS)
def test_the_same_inputs_give_the_same_offer(name: str, tmp_path: Path) -> None:
    before = dict(leaves(json.loads(FIGURES.read_text("utf-8"))[name]))
    now = dict(leaves(json.loads(json.dumps(figures(name, tmp_path)))))
    assert now.keys() == before.keys()
    texts = {key for key, value in before.items() if not isinstance(value, float)}
    assert {key: now[key] for key in texts} == {key: before[key] for key in texts}
    for key in before.keys() - texts:
        assert now[key] == pytest.approx(before[key], rel=1e-10, abs=1e-10), key
