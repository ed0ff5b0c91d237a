"""Scores of forecasts: one forecast, and the coverage of many ranges."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray


def crps(draws: FloatArray, seen: float) -> float:
    """Continuous ranked probability score of draws (n,) against the observed value, in their unit; 0 is perfect.

    ``E|X - y| - E|X - X'| / 2`` (Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359, eq. 21), the second mean
    over all pairs of different draws, so that the score does not depend on how many draws there are.
    """
    x = np.sort(np.asarray(draws, dtype=np.float64))
    n = len(x)
    if n < 2:
        return float(np.abs(x - seen).mean())
    pairs = 2 * float(np.dot(x, 2 * np.arange(n) - n + 1)) / (n * (n - 1))
    return float(np.abs(x - seen).mean()) - pairs / 2


@dataclass(frozen=True)
class HitRate:
    """A share of some cases with the range that its true value may have.

    Attributes:
        hits: number of hits.
        cases: number of all cases.
        value: hits ÷ cases.
        low: of Wilson's 90 % interval.
        high: likewise.
    """

    hits: int
    cases: int
    value: float
    low: float
    high: float


def share(hits: int, cases: int) -> HitRate:
    """A share with Wilson's score interval at 90 % (Wilson, J. Am. Stat. Assoc. 22 (1927) 209).

    Raises:
        ValueError: no cases.
    """
    if cases < 1 or not 0 <= hits <= cases:
        raise ValueError("a share needs cases")
    z = 1.6448536269514722  # 95 % point of the standard normal distribution
    value, z2 = hits / cases, z * z
    middle = (value + z2 / (2 * cases)) / (1 + z2 / cases)
    half = z / (1 + z2 / cases) * math.sqrt(value * (1 - value) / cases + z2 / (4 * cases**2))
    return HitRate(hits, cases, value, max(middle - half, 0.0), min(middle + half, 1.0))
