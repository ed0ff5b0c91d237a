"""Height of boards' faces and the factors made of it."""

import numpy as np
import pytest

from calibration.area_factors import as_sample, height_factor, squared_factor
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.face_height import face_height


def draws(distribution: Distribution) -> np.ndarray:
    return distribution.sample(np.random.default_rng(1), 20_000)


def test_stated_thickness_is_the_least_but_for_its_tolerance() -> None:
    heights = draws(face_height(1.6))
    assert heights.min() > 1.6 * 0.9
    assert heights.max() < 1.6 * 1.1 + 1.7
    assert np.median(draws(face_height(2.4)) - heights) == pytest.approx(0.8, abs=0.1)


def test_unstated_thickness_holds_memory_modules_and_thick_boards() -> None:
    low, high = np.quantile(draws(face_height()), [0.02, 0.98])
    assert low < 1.3
    assert high > 2.4


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf"), 500.0])
def test_impossible_thickness_is_refused(bad: float) -> None:
    with pytest.raises(UsageError):
        face_height(bad)


def test_height_factor_is_one_at_the_nominal_height() -> None:
    assert height_factor(np.full(10, 1.6), 1.6, 300.0) == Distribution("constant", (1.0,))


def test_height_factor_of_a_board_lying_higher_is_below_one() -> None:
    factor = height_factor(np.full(10, 3.2), 1.6, 300.0)
    assert factor.parameters[0] == pytest.approx((296.8 / 298.4) ** 2, abs=1e-7)


def test_squares() -> None:
    assert squared_factor(Distribution("constant", (1.02,)), 1.0).parameters[0] == pytest.approx(1.0404)
    assert squared_factor(Distribution("lognormal", (0.99, 0.01)), 0.99) == Distribution("lognormal", (1.0, 0.02))
    normal = draws(squared_factor(Distribution("normal", (0.98, 0.005)), 0.98))
    assert np.median(normal) == pytest.approx(1.0, abs=1e-3)
    assert np.std(normal) == pytest.approx(2 * 0.005 / 0.98, rel=0.03)


def test_a_sample_keeps_the_quantiles() -> None:
    values = np.random.default_rng(0).lognormal(0, 0.3, 50_000)
    kept = draws(as_sample(values))
    for level in (0.05, 0.5, 0.95):
        assert np.quantile(kept, level) == pytest.approx(np.quantile(values, level), rel=0.03)
