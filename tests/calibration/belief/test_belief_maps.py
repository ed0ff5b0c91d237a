"""Curves of standard normal numbers against scipy's distributions and the project's own draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from calibration.belief.maps import log_quantiles, student_4
from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.thickness import FINISHES, thickness_prior

Z = np.linspace(-4, 4, 81)


def test_student_is_scipys() -> None:
    values, slopes = student_4()(Z)
    np.testing.assert_allclose(values, stats.t.ppf(stats.norm.cdf(Z), 4), atol=2e-4, rtol=2e-4)
    # dt/dz = φ(z) / f(t)
    np.testing.assert_allclose(slopes, stats.norm.pdf(Z) / stats.t.pdf(values, 4), rtol=0.02)


@pytest.mark.parametrize("finish", FINISHES)
def test_a_prior_keeps_its_shape(finish) -> None:
    prior = thickness_prior(finish).distribution
    drawn = np.log(prior.sample(np.random.default_rng(1), 200_000))
    ours = log_quantiles(prior)(np.random.default_rng(2).standard_normal(200_000))[0]
    # two samples of 200 000 of one distribution differ by more than this once in a thousand (Kolmogorov-Smirnov)
    assert stats.ks_2samp(drawn, ours).statistic < 1.95 * np.sqrt(2 / 200_000)


def test_a_lognormal_is_a_straight_line() -> None:
    values, slopes = log_quantiles(Distribution("lognormal", (0.5, 0.3)))(Z)
    np.testing.assert_allclose(values, np.log(0.5) + 0.3 * Z, atol=1e-12)
    np.testing.assert_allclose(slopes, 0.3, rtol=1e-6)


def test_another_kind_is_refused() -> None:
    with pytest.raises(DataFileError, match="normal"):
        log_quantiles(Distribution("normal", (1.0, 0.1)))
