"""From uniform numbers to draws, and uniform numbers that leave no gap.

``strata`` cuts 0..1 into as many equal pieces as there are draws and takes one number from each, in random order.
Applied to each input separately, this is Latin hypercube sampling (McKay, Beckman, Conover, Technometrics 21 (1979)
239): every single draw follows its distribution as before, and the part of the variance of a mean that comes from
inputs acting separately vanishes (Stein, Technometrics 29 (1987) 143). The rest is due to inputs acting together.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray

# Nodes of a curve that is inverted by straight pieces between them: within four standard deviations, the error is
# below 1e-6 of one.
_NODES = 16_001
_REACH = 8.3  # standard deviations; beyond, a float cannot distinguish a normal's chance from 1


def strata(rng: np.random.Generator, n: int) -> tuple[FloatArray, NDArray[np.intp]]:
    """One uniform number from each of ``n`` equal pieces of 0..1, rising, and a random order for them.

    Returns:
        float64 (n,) and int (n,); the first, taken in the order of the second, is in random order.
    """
    return (np.arange(n) + rng.random(n)) / n, rng.permutation(n)


def standard_normal(u: FloatArray) -> FloatArray:
    """Standard normal numbers at chances ``u``, float64, same shape."""
    z, chance = _normal_curve()
    return np.interp(u, chance, z)


@cache
def _normal_curve() -> tuple[FloatArray, FloatArray]:
    z = np.linspace(-_REACH, _REACH, _NODES)
    chance = np.array([math.erfc(-x / math.sqrt(2)) / 2 for x in z])
    return z, chance


def triangular(u: FloatArray, low: float, mode: float, high: float) -> FloatArray:
    """Numbers of a triangular distribution at chances ``u``, by inverting its cumulative curve."""
    if low == high:
        return np.full(u.shape, low)
    rising = low + np.sqrt(u * (high - low) * (mode - low))
    falling = high - np.sqrt((1 - u) * (high - low) * (high - mode))
    return np.where(u * (high - low) < mode - low, rising, falling)


def trapezoid(u: FloatArray, low: float, core_low: float, core_high: float, high: float) -> FloatArray:
    """Numbers of a trapezoid on [low, high], flat on [core_low, core_high], likewise."""
    left, core, right = (core_low - low) / 2, core_high - core_low, (high - core_high) / 2
    total = left + core + right
    if total == 0:
        return np.full(u.shape, low)
    area = u * total
    rising = low + np.sqrt(np.maximum(2 * area * (core_low - low), 0))
    flat = core_low + (area - left)
    falling = high - np.sqrt(np.maximum(2 * (total - area) * (high - core_high), 0))
    return np.where(area < left, rising, np.where(area < left + core, flat, falling))


def cut_student_t(u: FloatArray, scale: float, degrees: float, reach: float) -> FloatArray:
    """Numbers of Student's t about zero, cut off at ±``reach``, at chances ``u``; ``reach`` is at least the scale."""
    if scale == 0:
        return np.zeros(u.shape)
    # even steps of s, where t = scale × sinh(s): close where the curve bends, far apart in its tails
    s = np.linspace(-math.asinh(reach / scale), math.asinh(reach / scale), _NODES)
    density = np.cosh(s) * (1 + np.sinh(s) ** 2 / degrees) ** (-(degrees + 1) / 2)
    chance = np.concatenate(([0.0], np.cumsum(density[1:] + density[:-1])))
    return scale * np.sinh(np.interp(u, chance / chance[-1], s))
