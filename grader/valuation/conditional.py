"""The chance of a loss with one input integrated instead of drawn (conditional Monte Carlo).

Where the worth of a lot is ``rest + slope × x`` in one input x that the others do not depend on, or the least of a
few such lines, the chance that it lies below a price is the mean over the draws of the others of
``F((price - rest) / slope)``, with F the distribution function of x. By the law of total variance its variance is
never larger than that of counting draws (Hammersley and Handscomb, Monte Carlo Methods, 1964, section 5.4; Asmussen
and Glynn, Stochastic Simulation, 2007, V.4). With x the input that moves the worth most, usually the thickness,
little is left: prices come out the same from any seed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.inputs import Input
from grader.model import ProductModel, Term
from grader.valuation.quantities import Values

_NODES = 20_001  # of F
_TO_CHOOSE = 5_000  # draws tell which input moves the worth most
_LEAST_SLOPE = 1e-300
_STEPS = 60  # halvings of a bracket, at most; a handful is the rule
_CLOSE = 1e-7  # of a chance


# As a sum of products at a price of zero; its draws ÷ load, float64 (n,); names of inputs that it is not linear in.
WorthLine = tuple[ProductModel, FloatArray, frozenset[str]]


@dataclass(frozen=True)
class Conditional:
    """Worth as the least of some lines ``rest + slope × x``, in each draw of all other inputs.

    Attributes:
        lines: rest and slope of each, both float64 (n,), the slope nowhere below zero.
        x: quantiles of x, rising, float64 (m,).
        chance: of each, float64 (m,).
    """

    lines: tuple[tuple[FloatArray, FloatArray], ...]
    x: FloatArray
    chance: FloatArray

    def chance_below(self, price: float) -> float:
        """Chance that the worth lies below a price."""
        at = np.full(len(self.lines[0][0]), -np.inf)
        for rest, slope in self.lines:  # below the price where any line is: up to the farthest crossing
            at = np.maximum(at, (price - rest) / np.maximum(slope, _LEAST_SLOPE))
        return float(np.mean(np.interp(at, self.x, self.chance, left=0.0, right=1.0)))

    def quantile(self, chance: float, near: FloatArray) -> float:
        """The worth that is undercut with this chance.

        Args:
            chance: 0..1.
            near: draws of the worth, between whose quantiles on either side it is looked for.
        """
        apart = 4 * (chance * (1 - chance) / len(near)) ** 0.5 + 2 / len(near)
        low, high = np.quantile(near, [max(chance - apart, 0.0), min(chance + apart, 1.0)])
        below, above = self.chance_below(low) - chance, self.chance_below(high) - chance
        if not below < 0 < above:
            return float(np.quantile(near, chance))
        for step in range(_STEPS):
            # straight line between the ends, every third time the middle, so that no end stands still
            at = (low + high) / 2 if step % 3 == 2 else low - below * (high - low) / (above - below)
            found = self.chance_below(at) - chance
            if abs(found) < _CLOSE:
                return float(at)
            if found < 0:
                low, below = at, found
            else:
                high, above = at, found
        return float((low + high) / 2)


def conditional(pieces: Sequence[WorthLine], load: FloatArray, values: Values) -> Conditional | None:
    """The worth conditional on all inputs but the one that moves it most; None if it is linear in none.

    Args:
        pieces: of the worth, which is the least of them in each draw.
        load: draws of what a price of 1 costs, float64 (n,).
        values: draws of every input by its name.
    """
    profit, worth, _ = pieces[0]
    moving = _most_moving(profit, frozenset().union(*(bent for _, _, bent in pieces)), worth, values)
    if moving is None:
        return None
    lines = []
    for part, drawn, _ in pieces:
        slope = _slope(part, moving.name, values, len(drawn)) / load
        if slope.min() < 0:
            return None
        lines.append((drawn - slope * values[moving.name], slope))
    chance = (np.arange(_NODES) + 0.5) / _NODES
    return Conditional(tuple(lines), np.sort(moving.distribution.at(chance)), chance)


def _slope(model: ProductModel, name: str, values: Values, n: int) -> FloatArray:
    along = [Term(t.coefficient, tuple(f for f in t.factors if f != name)) for t in model.terms if name in t.factors]
    return ProductModel(tuple(along), model.inputs).evaluate(values, n)


def _most_moving(profit: ProductModel, bent: frozenset[str], worth: FloatArray, values: Values) -> Input | None:
    """The input whose draws go along with the worth most; none that is bent, or drawn together with another."""
    used = profit.used_inputs()
    drawn_as = [i.drawn_as for i in used]
    squared = {f for t in profit.terms for f in t.factors if t.factors.count(f) > 1}
    few = worth[:_TO_CHOOSE]
    best, most = None, 0.0
    for i in used:
        draws = values[i.name][:_TO_CHOOSE]
        alone = drawn_as.count(i.drawn_as) == 1 and i.name not in bent | squared
        if not alone or draws.std() == 0 or few.std() == 0:
            continue
        together = float(np.mean((draws - draws.mean()) * (few - few.mean()))) / float(draws.std() * few.std())
        if together > most:
            best, most = i, together
    return best
