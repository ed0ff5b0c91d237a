"""Which input contributes how much to a range.

Shares are first-order (Sobol) shares of variance. For a sum of products of independent inputs they need no sampling
scheme: with the other inputs' means known, the expectation of the quantity for a given value of one input is a
polynomial in that value (Sobol, Math. Comput. Simul. 55 (2001) 271; Saltelli et al., Global Sensitivity Analysis,
2008, section 1.2). All means are taken over the same draws that give the range, as if every combination of the
inputs' draws had occurred; the shares then add up to at most one, and what is missing is due to inputs acting
together (a thickness error weighs more on a larger area).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import NDArray

from calibration.inputs import DEFAULT_DRAWS, DEFAULT_SEED, FloatArray, draw_all
from grader.model import ProductModel

TOGETHER = "together"


@dataclass(frozen=True)
class BudgetLine:
    """One input's part in a range.

    Attributes:
        input: its name, or ``TOGETHER`` for what inputs do only in combination.
        title: plain words.
        share_of_variance: 0..1; the lines of a budget add up to 1.
        swing_low: the quantity with this input at its 5 % point and all others at their medians; None for
            ``TOGETHER``.
        swing_high: the same with this input at its 95 % point.
    """

    input: str
    title: str
    share_of_variance: float
    swing_low: float | None
    swing_high: float | None

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {"input": self.input, "title": self.title, "share_of_variance": self.share_of_variance}


def budget(model: ProductModel, n: int = DEFAULT_DRAWS, seed: int = DEFAULT_SEED) -> tuple[BudgetLine, ...]:
    """Shares of variance and swings, the largest share first and ``TOGETHER`` last; empty if nothing varies."""
    used = {f for t in model.terms for f in t.factors}
    inputs = {k: i for k, i in model.inputs.items() if k in used}
    draws = draw_all(inputs, n, seed)
    coefficients, powers = _collect(model, tuple(inputs))
    means = [_power_means(draws[k], 2 * int(p.max(initial=0))) for k, p in zip(inputs, powers.T, strict=True)]
    own = {
        name: _own_variance(coefficients, powers, means, column, draws[name])
        for column, (name, i) in enumerate(inputs.items())
        if not i.distribution.is_constant
    }
    # The sum of the parts is the more exact of the two where the range is so narrow that rounding shows.
    total = max(_total_variance(coefficients, powers, means), sum(own.values()))
    if not own or total <= 0:
        return ()

    medians = {k: np.full(2, np.median(d)) for k, d in draws.items()}
    lines = []
    for name, variance in sorted(own.items(), key=lambda item: -item[1]):
        low, high = model.evaluate({**medians, name: np.quantile(draws[name], [0.05, 0.95])}, 2)
        lines.append(BudgetLine(name, inputs[name].title, variance / total, float(low), float(high)))
    rest = max(0.0, 1.0 - sum(own.values()) / total)
    return (*lines, BudgetLine(TOGETHER, "inputs acting together", rest, None, None))


def _collect(model: ProductModel, names: tuple[str, ...]) -> tuple[FloatArray, NDArray[np.intp]]:
    """Coefficients (terms,) and powers (terms, inputs), terms of the same powers added up."""
    summed: dict[tuple[int, ...], float] = defaultdict(float)
    for term in model.terms:
        summed[tuple(term.factors.count(name) for name in names)] += term.coefficient
    powers = np.array(list(summed), dtype=np.intp).reshape(len(summed), len(names))
    return np.array(list(summed.values()), dtype=np.float64), powers


def _power_means(draws: FloatArray, highest: int) -> FloatArray:
    """Means of draws ** p for p = 0 .. highest."""
    return np.array([np.mean(draws**p) for p in range(highest + 1)])


def _total_variance(coefficients: FloatArray, powers: NDArray[np.intp], means: list[FloatArray]) -> float:
    """Variance of the sum of products, from the means of the inputs' powers."""
    expected = np.ones(len(coefficients))
    expected_pairs = np.ones((len(coefficients), len(coefficients)))
    for p, mean in zip(powers.T, means, strict=True):
        expected *= mean[p]
        expected_pairs *= mean[p[:, None] + p[None, :]]
    covariance = expected_pairs - np.outer(expected, expected)
    return float(coefficients @ covariance @ coefficients)


def _own_variance(
    coefficients: FloatArray, powers: NDArray[np.intp], means: list[FloatArray], column: int, draws: FloatArray
) -> float:
    """Variance, over one input, of the quantity's expectation for that input's value."""
    others = coefficients.copy()
    for j, mean in enumerate(means):
        if j != column:
            others *= mean[powers[:, j]]
    polynomial = np.bincount(powers[:, column], weights=others)
    return float(np.var(polyval(draws, polynomial)))
