"""Which input contributes how much to a range.

Shares are first-order (Sobol) shares of variance. For a sum of products of independent inputs they need no sampling
scheme: with the other inputs' means known, the expectation of the quantity for a given value of one input is a
polynomial in that value (Sobol, Math. Comput. Simul. 55 (2001) 271; Saltelli et al., Global Sensitivity Analysis,
2008, section 1.2). All means are taken over the same draws that give the range, as if every combination of the
inputs' draws had occurred; the shares then add up to at most one, and what is missing is due to inputs acting
together (a thickness error weighs more on a larger area).

Inputs that are drawn together are not independent: none of them has a share of its own, so that they form one group
whose share is the variance of the expectation for given values of all of them (a group's closed index). Inputs of one
title, which a reader could not distinguish, are one group too.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.inputs import DEFAULT_DRAWS, DEFAULT_SEED, Input, draw_all
from grader.model import ProductModel

TOGETHER = "together"

Powers = Mapping[str, NDArray[np.intp]]


@dataclass(frozen=True)
class BudgetLine:
    """The part of one input, or of a group of inputs, in a range.

    Attributes:
        input: its name; of a group what the names begin with; ``TOGETHER`` for what inputs do only in combination.
        title: plain words.
        share_of_variance: 0..1; the lines of a budget add up to 1.
        swing_low: the quantity with this input at its 5 % point and all others at their medians; of a group the 5 %
            point of the quantity while only the group varies; None for ``TOGETHER``.
        swing_high: the same with the 95 % point.
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
    groups = _groups(inputs)
    products = [_products([powers[k] for k in group], [draws[k] for k in group]) for group in groups]
    own = [_own_variance(coefficients, products, at) for at in range(len(groups))]
    # The sum of the parts is the more exact of the two where the range is so narrow that rounding shows.
    total = max(_total_variance(coefficients, products), sum(own))
    if total <= 0 or all(i.distribution.is_constant for i in inputs.values()):
        return ()

    medians = {k: float(np.median(d)) for k, d in draws.items()}
    lines = []
    for group, variance in sorted(zip(groups, own, strict=True), key=lambda item: -item[1]):
        if not all(inputs[k].distribution.is_constant for k in group):
            low, high = _swing(model, group, draws, medians)
            title = _title([inputs[k].title for k in group])
            lines.append(BudgetLine(_name(group), title, variance / total, low, high))
    rest = max(0.0, 1.0 - sum(own) / total)
    return (*lines, BudgetLine(TOGETHER, "inputs acting together", rest, None, None))


def _groups(inputs: Mapping[str, Input]) -> list[list[str]]:
    """Names of the inputs, those that share their draws or their title side by side."""
    groups: list[tuple[set[tuple[str, str]], list[str]]] = []
    for name, i in inputs.items():
        marks = {("drawn as", i.drawn_as), ("title", i.title)}
        alike = [g for g in groups if g[0] & marks]
        groups = [g for g in groups if g not in alike]
        groups.append((marks.union(*(g[0] for g in alike)), [*(k for g in alike for k in g[1]), name]))
    return [names for _, names in groups]


@dataclass(frozen=True)
class _Products:
    """What the inputs of one group contribute to the terms: few different products of them.

    Attributes:
        of_term: product of each term, (terms,).
        mean: of each product, (products,).
        covariance: of the products, (products, products).
    """

    of_term: NDArray[np.intp]
    mean: FloatArray
    covariance: FloatArray


def _collect(model: ProductModel, names: tuple[str, ...]) -> tuple[FloatArray, Powers]:
    """Coefficients (terms,) and powers of each input (terms,), terms of the same powers added up."""
    summed: dict[tuple[int, ...], float] = defaultdict(float)
    for term in model.terms:
        summed[tuple(term.factors.count(name) for name in names)] += term.coefficient
    powers = np.array(list(summed), dtype=np.intp).reshape(len(summed), len(names))
    return np.array(list(summed.values()), dtype=np.float64), dict(zip(names, powers.T, strict=True))


def _products(powers: Sequence[NDArray[np.intp]], draws: Sequence[FloatArray]) -> _Products:
    """From the powers (terms,) and the draws (n,) of each input of a group."""
    different, of_term = np.unique(np.column_stack(powers), axis=0, return_inverse=True)
    ones = np.ones(len(draws[0]))
    # few of many inputs are in a product, as where each photo of a lot has one of its own
    values = np.array(
        [math.prod((d**p for d, p in zip(draws, row, strict=True) if p), start=ones) for row in different]
    )
    mean = values.mean(axis=1)
    centred = values - mean[:, None]
    return _Products(of_term.reshape(-1), mean, centred @ centred.T / values.shape[1])


def _total_variance(coefficients: FloatArray, products: Sequence[_Products]) -> float:
    """Variance of the sum of products, the groups being independent of each other."""
    expected = np.ones(len(coefficients))
    expected_pairs = np.ones((len(coefficients), len(coefficients)))
    for p in products:
        expected *= p.mean[p.of_term]
        pairs = p.covariance + np.outer(p.mean, p.mean)
        expected_pairs *= pairs[p.of_term[:, None], p.of_term[None, :]]
    covariance = expected_pairs - np.outer(expected, expected)
    return float(coefficients @ covariance @ coefficients)


def _own_variance(coefficients: FloatArray, products: Sequence[_Products], at: int) -> float:
    """Variance, over one group, of the quantity's expectation for given values of that group."""
    others = coefficients.copy()
    for j, p in enumerate(products):
        if j != at:
            others *= p.mean[p.of_term]
    weights = np.bincount(products[at].of_term, weights=others, minlength=len(products[at].mean))
    return max(0.0, float(weights @ products[at].covariance @ weights))


def _swing(
    model: ProductModel, group: Sequence[str], draws: Mapping[str, FloatArray], medians: Mapping[str, float]
) -> tuple[float, float]:
    """The quantity at the group's low and high end, all else at its median."""
    if len(group) == 1:
        ends = np.quantile(draws[group[0]], [0.05, 0.95])
        low, high = model.evaluate({**{k: np.full(2, m) for k, m in medians.items()}, group[0]: ends}, 2)
        return float(low), float(high)
    n = len(draws[group[0]])
    values = {k: np.full(n, m) for k, m in medians.items()} | {k: draws[k] for k in group}
    low, high = np.quantile(model.evaluate(values, n), [0.05, 0.95])
    return float(low), float(high)


def _name(names: Sequence[str]) -> str:
    """A name, or the pieces between colons that several begin with."""
    if len(names) == 1:
        return names[0]
    pieces = [name.split(":") for name in names]
    return ":".join(pieces[0][: _alike(pieces)]) or " + ".join(names)


def _title(titles: Sequence[str]) -> str:
    """A title, or several in one: "thickness of hard gold, immersion gold"."""
    first, *others = (title.split(" ") for title in dict.fromkeys(titles))
    start = min(_alike([first, *others]), len(first) - 1)
    return ", ".join(" ".join(words) for words in (first, *(words[start:] for words in others)))


def _alike(rows: Sequence[Sequence[str]]) -> int:
    """How many pieces are the same at the beginning of all."""
    return sum(1 for _ in takewhile(lambda pieces: len(set(pieces)) == 1, zip(*rows, strict=False)))
