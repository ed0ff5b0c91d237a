"""The rule for many lots: by hand, against its own equation, and against counting many lots."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import expectile

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from grader.model import ProductModel
from grader.valuation import Economics, load_assumptions, value_lot, with_given
from grader.valuation.rules import ByChance, ByGains
from grader.valuation.words import over_many_words

DAY = date(2026, 11, 25)
BASE = with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=DAY)


def money(worth: np.ndarray, load: float | np.ndarray = 1.0) -> Economics:
    """Lots worth so much, each draw with its own load."""
    loads = np.broadcast_to(np.asarray(load, dtype=np.float64), worth.shape)
    nothing = np.zeros_like(worth)
    return Economics(worth * loads, nothing, loads, nothing, nothing)


def test_one_in_five_is_worth_nothing_by_hand() -> None:
    """Worth 100 in four of five cases, else 0. Losses p / 5, gains 4 (100 - p) / 5: equal to a quarter at p = 50."""
    worth = np.array([0.0, 100.0, 100.0, 100.0, 100.0])
    assert ByGains(0.25).price(money(worth)) == pytest.approx(50.0)
    assert ByGains(1.0).price(money(worth)) == pytest.approx(80.0)
    assert ByChance(0.10).price(money(worth)) < 50.0


def test_it_is_the_expectile() -> None:
    """scipy's own, by root finding; so other hands agree."""
    worth = np.random.default_rng(1).lognormal(3.0, 1.2, 5_000) - 10
    for share in (0.05, 0.25, 0.6, 1.0):
        found = money(worth).price_at_losses(share)
        assert found == pytest.approx(float(expectile(worth, share / (1 + share))), rel=1e-6)


@given(st.integers(0, 10_000), st.floats(0.02, 1.0), st.floats(0.2, 5.0), st.floats(-50.0, 50.0))
def test_it_keeps_its_equation_and_goes_with_units(seed: int, share: float, scale: float, shift: float) -> None:
    rng = np.random.default_rng(seed)
    worth, load = rng.standard_t(3, 300) * 40 + 20, rng.uniform(1.0, 1.4, 300)
    lots = money(worth, load)
    price = lots.price_at_losses(share)
    profit = lots.profit(price)
    assert np.maximum(-profit, 0).sum() == pytest.approx(share * np.maximum(profit, 0).sum(), rel=1e-5, abs=1e-6)
    assert price <= lots.break_even() + 1e-9
    if share < 1:
        assert lots.price_at_losses(min(1.0, share * 1.1)) >= price - 1e-9
    moved = money(worth * scale + shift, load)
    assert moved.price_at_losses(share) == pytest.approx(price * scale + shift, rel=1e-6, abs=1e-6)


def test_over_many_lots_losses_take_what_was_said() -> None:
    """Lots of all kinds, each bid by the rule; what is drawn comes true."""
    rng = np.random.default_rng(3)
    lost = won = 0.0
    for _ in range(3000):
        worth = rng.lognormal(rng.uniform(2, 5), rng.uniform(0.2, 1.2), 200) * (rng.random(200) > rng.uniform(0, 0.5))
        price = money(worth).price_at_losses(0.25)
        profit = float(rng.choice(worth)) - price
        lost, won = lost + max(-profit, 0.0), won + max(profit, 0.0)
    assert lost / won == pytest.approx(0.25, abs=0.03)


def _gold(*, flash: float) -> ProductModel:
    known = Distribution("lognormal_mixture", (1 - flash, 0.7, 0.4, 0.01, 0.4))
    um = Input("thickness", "thickness", known, "test", "um", ("hard_gold",))
    return ProductModel.of(20_000.0, (um,))


def test_a_lot_that_may_be_flash_has_a_price_over_many_lots_only() -> None:
    offer = value_lot(_gold(flash=0.22), BASE, today=DAY, draws=10_000)
    assert offer.reason is not None
    assert offer.highest.price == 0.0
    assert 0 < offer.over_many.at.price < offer.break_even
    assert offer.over_many.at.chance_of_loss > 0.2
    assert "many such lots: up to" in over_many_words(offer)
    by_gains = value_lot(_gold(flash=0.22), replace(BASE, share_of_gains=1 / 3), today=DAY, draws=10_000)
    assert by_gains.reason is None
    assert by_gains.highest.price == pytest.approx(offer.over_many.at.price)
    assert by_gains.as_json()["assumptions"]["share_of_gains"] == pytest.approx(1 / 3)
    assert by_gains.as_json()["over_many"]["price"] == pytest.approx(by_gains.highest.price)


def test_nothing_but_costs_has_no_price_by_any_rule() -> None:
    for gains in (None, "25 %"):
        figures = with_given(BASE, share_of_gains=gains)
        offer = value_lot(_gold(flash=0.22).times((), 1e-4), figures, today=DAY, draws=2_000)
        assert offer.over_many.at.price == 0.0
        assert offer.reason is not None
        assert (offer.reason.code == "gifts-lose-more") == (gains is not None)
        assert "nothing" in over_many_words(offer)


@pytest.mark.parametrize("share", ["0 %", "120 %"])
def test_a_share_that_cannot_be(share: str) -> None:
    with pytest.raises(UsageError):
        with_given(BASE, share_of_gains=share)


def test_one_rule_at_a_time() -> None:
    with pytest.raises(UsageError) as caught:
        with_given(BASE, share_of_gains="25 %", earlier_bids="2 %")
    assert caught.value.code == "two-rules"
