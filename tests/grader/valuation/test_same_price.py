"""The same lot has the same price, whatever the random numbers: to half a per cent from any seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy import stats

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.model import ProductModel
from grader.valuation import VALUATION_DRAWS, Assumptions, Portion, load_assumptions, with_given
from grader.valuation.books import Bookkeeper, all_values
from grader.valuation.economics import Economics
from grader.valuation.routes import ways_of

SEEDS = 20
REFERENCE = 1_000_000


def lognormal(name: str, sigma: float) -> Input:
    return Input.named(name, name, Distribution("lognormal", (1.0, sigma)), "test")


def lot(kg: float, thickness: Distribution) -> Portion:
    """Boards with 0.3 g of gold a kg at 1 um, as edge contacts of modules have about."""
    um = Input.named("thickness:hard_gold", "thickness", thickness, "test", "um")
    gold = ProductModel.of(400.0 * kg, (um, lognormal("area", 0.06), lognormal("unseen", 0.2)))
    return Portion("boards", gold, ProductModel.of(1000.0 * kg, (lognormal("density", 0.3),)))


PUBLISHED = Distribution("lognormal_mixture", (0.9, 0.66, 0.49, 0.08, 0.7))
LEARNED = Distribution("sample", tuple(np.exp(0.25 * stats.norm.ppf((np.arange(400) + 0.5) / 400)) * 0.55))


def figures(**entries: str) -> Assumptions:
    return with_given(load_assumptions(), spot="2650 USD/ozt", spot_date=date(2026, 11, 25), **entries)


def money(portion: Portion, a: Assumptions, way: str, seed: int, draws: int) -> Economics:
    values = all_values(portion.models(), a, draws, seed)
    return next(w for w in ways_of(Bookkeeper(a, values, draws), [portion]) if w.name == way).money


CASES: dict[str, tuple[Portion, Callable[[], Assumptions], str]] = {
    "a few boards, in the trough of the mixture": (lot(40.0, PUBLISHED), figures, "strip"),
    "many boards": (lot(72.0, PUBLISHED), figures, "strip"),
    "learned thickness": (lot(30.0, LEARNED), figures, "strip"),
    "sold whole": (lot(72.0, PUBLISHED), figures, "whole"),
    "a refiner's minimum charge": (
        lot(60.0, PUBLISHED),
        lambda: figures(per_gram="2..6 USD", minimum="50..150 USD"),
        "strip",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_the_price_is_the_same_from_any_seed(case: str) -> None:
    portion, made, way = CASES[case]
    a = made()
    prices = np.array(
        [money(portion, a, way, seed, VALUATION_DRAWS).price_at_risk(a.accepted_loss) for seed in range(SEEDS)]
    )
    assert prices.min() > 20
    assert np.ptp(prices) / 2 / prices.mean() < 0.005
    # a big sample that is only counted, with its own standard error
    big = replace(money(portion, a, way, 999, REFERENCE), given=None)
    ends = np.quantile(big.worth, a.accepted_loss + np.array([-1, 1]) * 3 * np.sqrt(0.09 / REFERENCE))
    middle = big.price_at_risk(a.accepted_loss)
    assert np.abs(prices - middle).max() < 0.005 * middle + np.ptp(ends) / 2


def test_the_chance_of_a_loss_is_the_accepted_one_at_the_highest_price() -> None:
    portion, made, way = CASES["many boards"]
    drawn = money(portion, made(), way, 1, 20_000)
    for chance in (0.02, 0.1, 0.3):
        price = drawn.price_at_risk(chance)
        assert drawn.at(price).chance_of_loss == pytest.approx(chance, abs=1e-6)
        assert np.mean(drawn.worth < price) == pytest.approx(chance, abs=0.005)


@pytest.mark.parametrize("alpha", [0.01, 0.1, 0.3])
def test_integrating_the_thickness_gives_the_closed_form(alpha: float) -> None:
    """Gold lognormal, all else known: the price is exact, from few draws (quantile of a lognormal)."""
    a = replace(figures(), charges=(), drift=None, sales=())
    sure = Distribution("constant", (0.9,))
    a = replace(a, payable=replace(a.payable, distribution=sure), recovery=replace(a.recovery, distribution=sure))
    portion = Portion("boards", ProductModel.of(1000.0, (lognormal("thickness", 0.6),)))
    exact = 2650 / 31.1034768 * 0.81 * float(np.exp(0.6 * stats.norm.ppf(alpha)))
    assert money(portion, a, "strip", 3, 500).price_at_risk(alpha) == pytest.approx(exact, rel=2e-3)
