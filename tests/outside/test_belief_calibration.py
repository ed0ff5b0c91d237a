"""The belief against simulation-based calibration, a plain grid, and published scores.

The full runs are a command: ``python -m calibration.belief.check 2000``.
"""

from __future__ import annotations

import numpy as np
import pytest
import scoringrules
from scipy import stats

from calibration.belief import Batch, Priors, UncertainSpread, WeighedPlating, learn, published_priors
from calibration.belief.check import BINS, Ranks, check, chi_square_tail
from calibration.belief.density import glog_residual
from calibration.belief.maps import normal_quantity
from calibration.belief.parts import Component, FamilyPrior
from calibration.scores import crps, share

LOGS = 120


@pytest.fixture(scope="module")
def checked():
    return check(LOGS, seed=7)


def test_p_values_are_chi_squares_upper_tail() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4: 99 % point 30.578 for 15 degrees of freedom
    assert chi_square_tail(30.578, BINS - 1) == pytest.approx(0.01, abs=1e-5)
    for x in (0.5, 8.0, 14.3, 25.0, 60.0):
        for degrees in (1, 3, 15):
            assert chi_square_tail(x, degrees) == pytest.approx(stats.chi2.sf(x, degrees), rel=1e-9)


def test_ranks_tell_what_is_wrong_with_a_belief() -> None:
    rng = np.random.default_rng(2)
    uniform = [Ranks.of(rng.integers(0, 256, 2000)) for _ in range(300)]
    for values in ([r.lean for r in uniform], [r.width for r in uniform]):
        assert np.mean(values) == pytest.approx(0.0, abs=0.25)
        assert np.std(values) == pytest.approx(1.0, abs=0.15)
    # against scipy's own test, at its own p values
    assert stats.kstest([r.p for r in uniform], "uniform").pvalue > 0.01
    sure = Ranks.of((256 * stats.beta.rvs(0.8, 0.8, size=2000, random_state=rng)).astype(np.intp))
    low = Ranks.of((256 * stats.beta.rvs(1.2, 1.0, size=2000, random_state=rng)).astype(np.intp))
    assert sure.width > 3
    assert sure.p < 1e-3
    assert low.lean > 3


def test_ranks_of_the_truth_are_uniform(checked) -> None:
    # Talts et al., arXiv:1804.06788 (2018); twelve quantities at p = 0.01 in all (Bonferroni)
    assert len(checked.ranks) == 12
    assert checked.smallest_p > 0.01, checked.ranks


def test_ranges_of_the_next_batch_hold_it_as_often_as_they_say(checked) -> None:
    # three standard errors of a share
    for coverage in (checked.coverage, checked.new_coverage):
        assert coverage == pytest.approx(0.9, abs=3 * np.sqrt(0.9 * 0.1 / LOGS))


def test_each_batch_helps(checked) -> None:
    # never worse than untaught by more than noise, and after many batches better by far more than noise
    better = {g: checked.untaught_score[g] - checked.score[g] for g in checked.score}
    assert all(better[g] > -2 * checked.noise[g] for g in better), checked
    most = max(better)
    assert better[most] > 4 * checked.noise[most]
    gain = [checked.score[g] / checked.untaught_score[g] for g in sorted(checked.score)]
    assert gain[-1] < gain[0]


_NOTHING = UncertainSpread(1e-9, 1e-9)


def one_part(family: FamilyPrior, batch: float) -> Priors:
    """Parts of one family; no sellers or recovery to speak of, batch spread known."""
    published = published_priors()
    families = {("hard_gold", "unknown"): family}
    return Priors(families, _NOTHING, UncertainSpread(batch, 1e-9), 1 - 1e-9, 1e-9, published.picked)


def humps(weight: float, first: float, wide: float, other: float, other_wide: float) -> FamilyPrior:
    """Two humps whose middles, spreads and shares are known: all but the part itself is fixed."""
    return FamilyPrior(
        (
            Component(normal_quantity(np.log(first), 1e-9), UncertainSpread(wide, 1e-9), weight),
            Component(normal_quantity(np.log(other), 1e-9), UncertainSpread(other_wide, 1e-9), 1 - weight),
        )
    )


@pytest.mark.parametrize("masses", [[20.0], [70.0, 60.0], [25.0, 8.0, 3.0], [0.0, 1.0], [50.0] * 12])
def test_one_part_is_what_a_grid_gives(masses: list[float]) -> None:
    """Against Bayes' rule on a plain grid over the logarithm of thickness, with scipy's densities."""
    weight, first, wide, other, other_wide = figures = (0.8, 0.70, 0.48, 0.09, 0.45)
    x = np.linspace(np.log(0.001), np.log(10), 40_001)
    density = weight * stats.norm.pdf(x, np.log(first), wide)
    density += (1 - weight) * stats.norm.pdf(x, np.log(other), other_wide)
    spread, balance = np.array(0.2), np.array(2.0)
    for mass in masses:
        density *= stats.t.pdf(glog_residual(np.array(mass), 100 * np.exp(x), spread, balance), 4)
    cumulative = np.cumsum(density)
    expected = np.interp([0.05, 0.25, 0.5, 0.75, 0.95], cumulative / cumulative[-1], x)

    priors = one_part(humps(*figures), 0.2)
    batches = [Batch(str(n), (WeighedPlating("hard_gold", 100.0, "a"),), m, 2.0) for n, m in enumerate(masses)]
    draws = np.concatenate([learn(batches, priors=priors, seed=s).thickness("hard_gold", "a") for s in range(8)])
    found = np.quantile(np.log(draws), [0.05, 0.25, 0.5, 0.75, 0.95])
    # about four standard errors of a quantile of some thousand draws, in the posterior's own width
    np.testing.assert_allclose(found, expected, atol=0.12 * (expected[3] - expected[1]) + 1e-4)


def test_one_lognormal_with_wide_noise_is_nearly_the_closed_form() -> None:
    """Normal prior and many precise batches: the mean of the logarithms, the classical closed form."""
    rng = np.random.default_rng(3)
    logs = np.log(0.6) + 0.01 * rng.standard_normal(400)
    priors = one_part(FamilyPrior((Component(normal_quantity(0.0, 1e-9), UncertainSpread(0.5, 1e-9)),)), 0.01)
    plating = (WeighedPlating("hard_gold", 100.0, "a"),)
    batches = [Batch(str(n), plating, float(100 * np.exp(v)), 1e-3) for n, v in enumerate(logs)]
    draws = np.log(learn(batches, priors=priors).thickness("hard_gold", "a"))
    # Fisher information of Student's t location with 4 degrees of freedom: (4 + 1) / (4 + 3) / scale²
    sd = 0.01 * np.sqrt(7 / 5 / len(logs))
    assert np.mean(draws) == pytest.approx(np.mean(logs), abs=3 * sd)
    assert np.std(draws) == pytest.approx(sd, rel=0.15)


def test_the_chance_of_flash_is_counted_as_by_bayes_rule() -> None:
    """Parts that are surely plated or surely flash: the chance of the next by a grid over the share alone."""
    far = (Component(normal_quantity(np.log(0.7), 1e-9), UncertainSpread(0.05, 1e-9)),)
    thin = (Component(normal_quantity(np.log(0.09), 1e-9), UncertainSpread(0.05, 1e-9), flash=True),)
    priors = one_part(FamilyPrior((*far, *thin), normal_quantity(np.log(0.18 / 0.82), 1.0)), 0.05)
    for flash, plated in ((0, 4), (1, 3), (3, 3)):
        thickness = [0.09] * flash + [0.7] * plated
        batches = [
            Batch(str(n), (WeighedPlating("hard_gold", 100.0, str(n)),), 100 * t, 0.1)
            for n, t in enumerate(thickness)
        ]
        logit = np.log(0.18 / 0.82) + stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000)
        share = 1 / (1 + np.exp(-logit))
        weight = share**flash * (1 - share) ** plated
        expected = float((share * weight).sum() / weight.sum())
        draws = np.concatenate(
            [learn(batches, priors=priors, seed=s).thickness("hard_gold", "new") for s in range(4)]
        )
        # standard error of a share of 4096 draws at most 0.008
        assert (draws < 0.25).mean() == pytest.approx(expected, abs=0.03)


def test_crps_of_the_standard_normal_at_zero() -> None:
    # (sqrt(2) - 1) / sqrt(pi) = 0.233695 (Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359, from eq. 21)
    quantiles = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    assert crps(quantiles, 0.0) == pytest.approx(0.233695, abs=5e-6)
    assert scoringrules.crps_normal(0.0, 0.0, 1.0) == pytest.approx(0.233695, abs=1e-6)


def test_scores_are_scoringrules() -> None:
    rng = np.random.default_rng(4)
    for seen in (-2.0, 0.3, 5.0):
        draws = rng.lognormal(size=500)
        assert crps(draws, seen) == pytest.approx(
            float(scoringrules.crps_ensemble(seen, draws, estimator="fair")), rel=1e-9
        )


def test_a_shares_range_is_wilsons() -> None:
    for hits, cases in ((9, 10), (0, 4), (27, 30)):
        found = share(hits, cases)
        published = stats.binomtest(hits, cases).proportion_ci(0.9, method="wilson")
        assert (found.low, found.high) == pytest.approx((published.low, published.high), abs=1e-9)
    with pytest.raises(ValueError, match="cases"):
        share(0, 0)
