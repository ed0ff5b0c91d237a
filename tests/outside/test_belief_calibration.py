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
from calibration.inputs import Distribution
from calibration.scores import crps, share
from calibration.thickness import thickness_prior

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
    # Talts et al., arXiv:1804.06788 (2018); eight quantities at p = 0.01 in all (Bonferroni)
    assert len(checked.ranks) == 8
    assert checked.smallest_p > 0.01, checked.ranks


def test_ranges_of_the_next_batch_hold_it_as_often_as_they_say(checked) -> None:
    # three standard errors of a share
    assert checked.coverage == pytest.approx(0.9, abs=3 * np.sqrt(0.9 * 0.1 / LOGS))


def test_each_batch_helps(checked) -> None:
    # never worse than untaught by more than noise, and after many batches better by far more than noise
    better = {g: checked.untaught_score[g] - checked.score[g] for g in checked.score}
    assert all(better[g] > -2 * checked.noise[g] for g in better), checked
    most = max(better)
    assert better[most] > 4 * checked.noise[most]
    gain = [checked.score[g] / checked.untaught_score[g] for g in sorted(checked.score)]
    assert gain[-1] < gain[0]


def one_kind() -> Priors:
    """No parts, sellers or recovery to speak of, batch spread known: all but one number is fixed."""
    published = published_priors()
    nothing = UncertainSpread(1e-9, 1e-9)
    return Priors(published.thickness, nothing, nothing, UncertainSpread(0.2, 1e-9), 1 - 1e-9, 1e-9)


@pytest.mark.parametrize("masses", [[20.0], [70.0, 60.0], [25.0, 8.0, 3.0], [0.0, 1.0], [50.0] * 12])
def test_one_finish_and_part_is_what_a_grid_gives(masses: list[float]) -> None:
    """Against Bayes' rule on a plain grid over the logarithm of thickness, with scipy's densities."""
    prior = thickness_prior("hard_gold").distribution
    weight, first, wide, other, other_wide = prior.parameters
    x = np.linspace(np.log(0.001), np.log(10), 40_001)
    density = weight * stats.norm.pdf(x, np.log(first), wide)
    density += (1 - weight) * stats.norm.pdf(x, np.log(other), other_wide)
    spread, balance = np.array(0.2), np.array(2.0)
    for mass in masses:
        density *= stats.t.pdf(glog_residual(np.array(mass), 100 * np.exp(x), spread, balance), 4)
    cumulative = np.cumsum(density)
    expected = np.interp([0.05, 0.25, 0.5, 0.75, 0.95], cumulative / cumulative[-1], x)

    batches = [Batch(str(n), (WeighedPlating("hard_gold", 100.0),), m, 2.0) for n, m in enumerate(masses)]
    draws = np.concatenate([learn(batches, priors=one_kind(), seed=s).thickness("hard_gold") for s in range(8)])
    found = np.quantile(np.log(draws), [0.05, 0.25, 0.5, 0.75, 0.95])
    # about four standard errors of a quantile of some thousand draws, in the posterior's own width
    np.testing.assert_allclose(found, expected, atol=0.12 * (expected[3] - expected[1]) + 1e-4)


def test_one_lognormal_with_wide_noise_is_nearly_the_closed_form() -> None:
    """Normal prior and many precise batches: the mean of the logarithms, the classical closed form."""
    rng = np.random.default_rng(3)
    logs = np.log(0.6) + 0.01 * rng.standard_normal(400)
    priors = Priors(
        published_priors({"hard_gold": Distribution("lognormal", (1.0, 0.5))}).thickness,
        UncertainSpread(1e-9, 1e-9),
        UncertainSpread(1e-9, 1e-9),
        UncertainSpread(0.01, 1e-9),
        1 - 1e-9,
        1e-9,
    )
    batches = [
        Batch(str(n), (WeighedPlating("hard_gold", 100.0),), float(100 * np.exp(v)), 1e-3) for n, v in enumerate(logs)
    ]
    draws = np.log(learn(batches, priors=priors).thickness("hard_gold"))
    # Fisher information of Student's t location with 4 degrees of freedom: (4 + 1) / (4 + 3) / scale²
    sd = 0.01 * np.sqrt(7 / 5 / len(logs))
    assert np.mean(draws) == pytest.approx(np.mean(logs), abs=3 * sd)
    assert np.std(draws) == pytest.approx(sd, rel=0.15)


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
