"""Draws at given chances against other hands, and draws that leave no gap."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from calibration import quantiles
from calibration.distributions import Distribution
from calibration.inputs import Input
from tests.calibration.test_inputs import CASES

MIXTURES = ("lognormal_mixture", "lognormals")  # draw part by part
CHANCES = np.array([1e-6, 1e-3, 0.05, 0.1, 0.31, 0.5, 0.77, 0.9, 0.95, 0.999, 1 - 1e-6])


@pytest.mark.parametrize("case", [case for case in CASES if case not in MIXTURES])
def test_draws_at_chances_are_quantiles(case: str) -> None:
    distribution, reference = CASES[case]
    assert reference.cdf(distribution.at(CHANCES)) == pytest.approx(CHANCES, rel=2e-3)


def test_normal_quantiles_are_those_of_scipy() -> None:
    assert quantiles.standard_normal(CHANCES) == pytest.approx(stats.norm.ppf(CHANCES), abs=2e-6)


def test_a_mixture_draws_either_part_as_often_as_its_weight_says() -> None:
    """Parts that do not overlap: of 1000 draws exactly 300 are of the first, its quantiles among them."""
    known = Input("x", "x", Distribution("lognormal_mixture", (0.3, 1.0, 0.1, 100.0, 0.1)), "test")
    draws = np.sort(known.draws(1000, 7))
    assert np.count_nonzero(draws < 10) == 300
    assert np.log(draws[:300]) == pytest.approx(stats.norm.ppf((np.arange(300) + 0.5) / 300, 0, 0.1), abs=0.03)


@pytest.mark.parametrize("case", [case for case in CASES if case not in MIXTURES])
@pytest.mark.parametrize("seed", [1, 2])
def test_one_draw_comes_from_each_equally_likely_piece(case: str, seed: int) -> None:
    distribution, reference = CASES[case]
    draws = np.sort(Input("x", "x", distribution, "test").draws(500, seed))
    pieces = reference.cdf(draws) * 500
    assert (np.abs(pieces - (np.arange(500) + 0.5)) < 0.5 + 0.01).all()


def test_a_sample_gives_each_of_its_values_equally_often() -> None:
    draws = Input("x", "x", Distribution("sample", (5.0, 1.0, 2.0)), "test").draws(3000)
    assert [np.count_nonzero(draws == v) for v in (1.0, 2.0, 5.0)] == [1000, 1000, 1000]


def test_a_single_draw_may_be_any() -> None:
    known = Input("x", "x", Distribution("uniform", (0.0, 1.0)), "test")
    drawn = np.array([known.draws(1, seed)[0] for seed in range(300)])
    assert stats.kstest(drawn, "uniform").pvalue > 1e-3


def test_draws_are_in_no_order() -> None:
    draws = Input("x", "x", Distribution("normal", (0.0, 1.0)), "test").draws(10_000)
    assert abs(np.corrcoef(draws[1:], draws[:-1])[0, 1]) < 0.05
