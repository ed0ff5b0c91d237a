"""Sampling without replacement, against a textbook's worked example.

Source: Cochran, Sampling Techniques (3rd ed., 1977), chapter 2: signatures on 676 sheets of a petition, a simple
random sample of 50 sheets. Quoted from memory: the data, the estimated total of 19,888, and 80 % limits of 18,107 and
21,669 (1.28 standard errors to either side). The data add up to the sums printed there (1,471 and 54,497), which
guards against a slip of memory.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from scipy.stats import t as student

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.lot import Lot, Part, Sight, estimate_lot
from grader.lot.observed import Observed
from grader.lot.sampling import observed_spread, unseen_factor
from grader.model import ProductModel
from tests.measured_photos import photo_with

SHEETS = 676
TALLY = {42: 23, 41: 4, 36: 1, 32: 1, 29: 1, 27: 2, 23: 1, 19: 1, 16: 2, 15: 2, 14: 1, 11: 1, 10: 1, 9: 1, 7: 1}
TALLY |= {6: 3, 5: 2, 4: 1, 3: 1}
SIGNATURES = [y for y, times in TALLY.items() for _ in range(times)]


def test_the_data_are_those_of_the_book() -> None:
    assert len(SIGNATURES) == 50
    assert sum(SIGNATURES) == 1471
    assert sum(y * y for y in SIGNATURES) == 54_497


def test_total_and_limits_of_the_worked_example() -> None:
    spread = observed_spread([Observed(y, 1, 1.0) for y in SIGNATURES])
    assert spread is not None
    unseen = unseen_factor("u", spread, 50, float(SHEETS))
    assert unseen is not None
    mean = sum(SIGNATURES) / 50
    _, scale, degrees, _ = unseen.distribution.parameters
    assert degrees == 49
    total, error = SHEETS * mean, (SHEETS - 50) * mean * scale
    assert total == pytest.approx(19_888, abs=1)
    assert total - 1.28 * error == pytest.approx(18_107, abs=3)
    assert total + 1.28 * error == pytest.approx(21_669, abs=3)


def test_the_whole_estimator_gives_the_same_total_and_the_pooled_error() -> None:
    """Each sheet a photo: the prior adds three degrees of freedom with a relative spread of 0.3."""
    nothing = Input("none", "none", Distribution("constant", (1.0,)), "test")
    sights = tuple(Sight(photo_with(f"{i}", ProductModel.of(float(y), (nothing,)))) for i, y in enumerate(SIGNATURES))
    lot = Lot((Part("sheets", sights, count=Distribution("constant", (float(SHEETS),))),))
    draws = estimate_lot(lot).gold_mg.draws(200_000)
    s2 = (54_497 - 1471**2 / 50) / 49
    pooled2 = (49 * s2 / 29.42**2 + 3 * 0.3**2) / 52
    sd = SHEETS * 29.42 * sqrt(pooled2 / 50 * (1 - 50 / SHEETS))
    assert np.mean(draws) == pytest.approx(19_888, rel=1e-3)
    low, high = np.quantile(draws, [0.1, 0.9])
    assert (high - low) / 2 == pytest.approx(sd * student.ppf(0.9, 52), rel=0.01)
