"""A loss accepted over a month of bids: by hand, and against counting."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.model import ProductModel
from grader.valuation import load_assumptions, value_lot, with_given
from grader.valuation.many_lots import left_for_this, parse_bids

DAY = date(2026, 11, 25)


def test_what_earlier_bids_leave_by_hand() -> None:
    assert left_for_this(0.10, ()) == pytest.approx(0.10)
    assert left_for_this(0.10, (0.02, 0.02)) == pytest.approx(0.30 - 0.04)
    assert left_for_this(0.10, (0.30,)) == 0.0
    assert left_for_this(0.10, [0.0] * 9) == 0.5  # 1.0 would be left


def test_bids_as_typed() -> None:
    assert parse_bids("2 %, 15 %") == pytest.approx((0.02, 0.15))
    assert parse_bids("") == ()
    with pytest.raises(UsageError, match="2"):
        parse_bids("2")


def test_as_many_lose_as_accepted_if_the_chances_are_right() -> None:
    rng = np.random.default_rng(1)
    lost = bids = 0
    for _ in range(400):
        chances: list[float] = []
        for chance in rng.beta(0.5, 2.0, 30):
            if chance <= left_for_this(0.1, chances):
                chances.append(float(chance))
        lost += int((rng.random(len(chances)) < chances).sum())
        bids += len(chances)
    assert lost / bids <= 0.1 + 3 * np.sqrt(0.1 * 0.9 / bids)
    assert lost / bids > 0.07


def test_safe_bids_raise_the_price_and_risky_ones_lower_it() -> None:
    um = Input("thickness", "thickness", Distribution("lognormal", (1.0, 0.6)), "test", "um", ("hard_gold",))
    gold = ProductModel.of(20_000.0, (um,))
    base = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=DAY)
    alone, first, after_safe, after_risky = (
        value_lot(gold, with_given(base, earlier_bids=text), today=DAY, draws=10_000)
        for text in (None, "", "1 %, 1 %", "18 %")
    )
    assert first.highest.price == pytest.approx(alone.highest.price)
    assert after_risky.highest.price < alone.highest.price < after_safe.highest.price
    assert after_safe.highest.chance_of_loss == pytest.approx(0.28, abs=0.01)
    assert after_safe.highest.price <= after_safe.break_even * (1 + 1e-9)
    assert "accepted-over-many-lots" not in {n.code for n in alone.notices}
    (said,) = (n for n in after_safe.notices if n.code == "accepted-over-many-lots")
    assert "3 bids 10 %" in said.message
    assert "28 %" in said.message
    assert after_safe.assumptions.as_json()["accepted_here"] == pytest.approx(0.28)


def test_never_above_break_even() -> None:
    um = Input("thickness", "thickness", Distribution("lognormal", (1.0, 1.5)), "test", "um", ("hard_gold",))
    base = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=DAY, earlier_bids="0 %, 0 %, 0 %, 0 %, 0 %")
    offer = value_lot(ProductModel.of(20_000.0, (um,)), base, today=DAY, draws=10_000)
    assert offer.highest.price <= offer.break_even * (1 + 1e-9)
