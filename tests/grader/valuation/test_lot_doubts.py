"""Counts, masses and asking prices that can hardly be meant are asked back; common ones never are."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.lot import estimate_lot, one_part
from grader.model import ProductModel
from grader.units import Money
from grader.valuation import load_assumptions, with_given
from grader.valuation.lot_doubts import lot_doubts
from tests.measured_photos import outlined, photo_with

FIGURES = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date(2026, 11, 20))


def codes(asking: str | None = None, gold_mg: float = 5.0, **said: Any) -> list[str]:
    scale = Input.named("scale:a", "scale", Distribution("normal", (1.0, 0.02)), "test")
    gold = ProductModel.of(gold_mg, [scale])
    photo = photo_with("a.jpg", gold, boards=(outlined(4000.0, gold_mg),), scale_inputs=(scale.name,))
    price = None if asking is None else Money(Decimal(asking), "USD")
    doubts = lot_doubts(estimate_lot(one_part([photo], **said)), FIGURES, price)
    assert all(d.message.endswith(".") and d.advice for d in doubts)
    return [d.code for d in doubts]


@pytest.mark.parametrize(
    ("said", "code"),
    [
        ({"boards": [10_000_000], "weighed": ["1 kg"]}, "boards-doubtful"),
        ({"boards": [10_000_000], "weighed": ["1 kg"]}, "board-mass-doubtful"),
        ({"boards": [4], "weighed": ["72 kg"], "asking": "5"}, None),
        ({"boards": [1], "weighed": ["72 kg"]}, "board-mass-doubtful"),
        ({"boards": [4], "weighed": ["0.1 mg"]}, "board-mass-doubtful"),
        ({"boards": [4], "count": "10000000"}, "count-doubtful"),
        ({"boards": [4], "count": "10000000"}, "lot-mass-doubtful"),
        ({"boards": [4], "mass": "1e9 kg"}, "lot-mass-doubtful"),
        ({"boards": [4], "mass": "50 t"}, "lot-mass-doubtful"),
        ({"boards": [4], "count": "40", "asking": "4000000"}, "asking-price-doubtful"),
        ({"boards": [4], "asking": "1000000000000000000000"}, "asking-price-doubtful"),
    ],
)
def test_figures_that_can_hardly_be_meant(said: dict[str, Any], code: str | None) -> None:
    found = codes(**said)
    assert (code in found) if code else not found


@pytest.mark.parametrize(
    "said",
    [
        {},
        {"boards": [1], "asking": "40"},  # a single board is sold to be used
        {"boards": [1], "asking": "900", "gold_mg": 0.0},
        {"boards": [4], "count": "400", "asking": "120"},
        {"boards": [4], "weighed": ["72 g"], "mass": "20 t", "asking": "100000"},
        {"boards": [200], "weighed": ["20 g"], "count": "5000"},
        {"boards": [1], "weighed": ["3 kg"]},
        {"boards": [4], "count": "28..32"},
    ],
)
def test_common_figures_are_not_asked_back(said: dict[str, Any]) -> None:
    assert codes(**said) == []
