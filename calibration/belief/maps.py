"""Standard normal numbers turned into the quantities of the belief, each by one rising curve.

Every unknown is a curve of an independent standard normal number. So the joint prior is one round normal cloud,
whatever the shapes of the priors. A Student variable with four degrees of freedom has a closed form (Shaw, J.
Comput. Finance 9 (2006) 37); a published thickness prior is tabulated by its distribution function.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.errors import DataFileError

_Z_MAX = 8.0
_Z = np.linspace(-_Z_MAX, _Z_MAX, 3201)
_STEP = float(_Z[1] - _Z[0])


def normal_cdf(z: FloatArray) -> FloatArray:
    """The standard normal distribution function."""
    return np.array([0.5 * math.erfc(-x / math.sqrt(2)) for x in np.ravel(z)]).reshape(np.shape(z))


_BELOW = normal_cdf(_Z)


def normal_quantile(p: FloatArray) -> FloatArray:
    """The inverse of ``normal_cdf``, from a table; within 2e-5 where both tails are above 1e-6."""
    return np.interp(p, _BELOW, _Z)


_LOWER = normal_cdf(-np.abs(_Z))  # the smaller tail, so that far values keep their digits


@dataclass(frozen=True)
class Curve:
    """A rising function of a standard normal number, tabulated.

    Attributes:
        values: float64 (3201,), at equally spaced numbers from -8 to 8.
    """

    values: FloatArray

    def __call__(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Value and slope at each z; beyond the table the curve continues as a straight line."""
        place = (z + _Z_MAX) / _STEP
        left = np.clip(place.astype(np.intp), 0, len(self.values) - 2)
        slope = self.values[left + 1] - self.values[left]
        return self.values[left] + slope * (place - left), slope / _STEP


def student_4() -> Curve:
    """Student's t with four degrees of freedom."""
    alpha = np.sqrt(np.clip(4 * _LOWER * (1 - _LOWER), 0, 1))
    size = 2 * np.sqrt(np.maximum(np.cos(np.arccos(alpha) / 3) / alpha - 1, 0))
    return Curve(np.sign(_Z) * size)


def normal_quantity(middle: float, spread: float) -> Curve:
    """A normal quantity."""
    return Curve(middle + spread * _Z)


def narrowed(curve: Curve, by: float) -> Curve:
    """The curve drawn towards its middle, so that its spread is this share of the original one."""
    middle = curve.values[len(_Z) // 2]
    return Curve(middle + by * (curve.values - middle))


def spread_of_curve(curve: Curve) -> float:
    """Standard deviation of the quantity."""
    density = np.exp(-0.5 * _Z**2)
    density /= density.sum()
    mean = float(np.dot(density, curve.values))
    return math.sqrt(float(np.dot(density, (curve.values - mean) ** 2)))


def log_quantiles(distribution: Distribution) -> Curve:
    """The natural logarithm of a positive quantity.

    Raises:
        DataFileError: if no thickness prior has a distribution of this kind.
    """
    p = distribution.parameters
    if distribution.kind == "lognormal":
        return Curve(math.log(p[0]) + p[1] * _Z)
    if distribution.kind in ("lognormal_mixture", "lognormals"):
        parts = [part for part in _lognormals(distribution) if part[0] > 0]
        middles = [math.log(median) for _, median, _ in parts]
        spread = _Z_MAX * max(0.5, *(sigma for _, _, sigma in parts))
        x = np.linspace(min(middles) - spread, max(middles) + spread, 20_001)
        below, above = np.zeros_like(x), np.zeros_like(x)
        for (weight, _, sigma), middle in zip(parts, middles, strict=True):
            below += weight * normal_cdf((x - middle) / sigma)
            above += weight * normal_cdf((middle - x) / sigma)
    elif distribution.kind == "trapezoid_log":
        low, core_low, core_high, high = (math.log(v) for v in p)
        x = np.linspace(low, high, 20_001)
        height = np.interp(x, [low, core_low, core_high, high], [0.0, 1.0, 1.0, 0.0])
        steps = (height[1:] + height[:-1]) / 2
        below = np.concatenate([[0.0], np.cumsum(steps)]) / steps.sum()
        above = np.concatenate([np.cumsum(steps[::-1])[::-1], [0.0]]) / steps.sum()
    elif distribution.kind in ("triangular", "uniform", "constant"):
        return Curve(np.log(distribution.at(_BELOW)))
    else:
        raise DataFileError(
            "belief-prior-kind",
            f"A thickness prior cannot be a {distribution.kind} distribution here.",
            "Use lognormal, lognormal_mixture, lognormals, trapezoid_log, triangular, uniform or constant.",
        )
    # from the smaller tail on either side, so that no digits are lost far out
    half = len(_Z) // 2
    left = np.interp(_LOWER[:half], below, x)
    right = np.interp(_LOWER[half:][::-1], above[::-1], x[::-1])[::-1]
    return Curve(np.concatenate([left, right]))


def _lognormals(distribution: Distribution) -> list[tuple[float, float, float]]:
    """Probability, median and spread of each part of a mixture."""
    p = distribution.parameters
    if distribution.kind == "lognormal_mixture":
        p = (p[0], p[1], p[2], 1 - p[0], p[3], p[4])
    return list(zip(p[::3], p[1::3], p[2::3], strict=True))
