"""Uncertain factors on area, each based on knowledge of its cause.

Area in a face plane grows with the square of the scale and of the camera's distance. A factor is 1 if its cause has
the value that was used for the scale.
"""

from __future__ import annotations

import numpy as np

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.inputs import Input

_QUANTILES = 101
_DRAWS = 20_000
_SEED = 7


def draws_of(distribution: Distribution, stream: int = 0) -> FloatArray:
    """Draws (20 000,) of a distribution, always the same; another ``stream`` gives independent ones."""
    return distribution.sample(np.random.default_rng([_SEED, stream]), _DRAWS)


def median_of(distribution: Distribution) -> float:
    """The median; exact where the kind states it."""
    if distribution.kind in {"constant", "normal", "lognormal"}:
        return distribution.parameters[0]
    return float(np.median(draws_of(distribution)))


def as_sample(values: FloatArray) -> Distribution:
    """Draws as a distribution that fits into a report: their quantiles, equally likely."""
    if np.ptp(values) == 0:
        return Distribution("constant", (float(values[0]),))
    levels = (np.arange(_QUANTILES) + 0.5) / _QUANTILES
    return Distribution("sample", tuple(float(round(q, 8)) for q in np.quantile(values, levels)))


def squared_factor(linear: Distribution, nominal: float) -> Distribution:
    """Distribution of (linear ÷ nominal)²."""
    match linear.kind:
        case "constant":
            return Distribution("constant", ((linear.parameters[0] / nominal) ** 2,))
        case "lognormal":
            median, sigma = linear.parameters
            return Distribution("lognormal", ((median / nominal) ** 2, 2 * sigma))
        case _:
            return as_sample((draws_of(linear) / nominal) ** 2)


def height_factor(height_mm: FloatArray, nominal_mm: float, sheet_distance_mm: float) -> Distribution:
    """Distribution of true area over area measured at the nominal height, for draws of the true height (n,).

    The same rays cut parallel planes, so areas grow with the square of the camera's distance from the plane.
    """
    ratio = (sheet_distance_mm - np.asarray(height_mm)) / (sheet_distance_mm - nominal_mm)
    return as_sample(np.maximum(ratio, 0.0) ** 2)


def fit_input(photo_id: str, sd_log: float, title: str = "place of the target's corners, lens and tilt") -> Input:
    """The factor of a fit whose log area has a standard deviation of ``sd_log`` at a place like the gold's."""
    return Input(
        "scale-fit",
        title,
        Distribution("lognormal", (1.0, sd_log)),
        "residuals and covariance of the fit",
        of=(photo_id,),
    )
