"""Draws of a lot's money, before a price is known, with draws that are shared by name.

In each draw the lot is worth ``net = proceeds - costs``, and a price P costs ``P × load`` with
``load = (1 + fee) × (1 + tax)``. The profit is ``net - P × load``, so a draw loses exactly where ``net / load < P``.
The chance of a loss at P is therefore the distribution function of ``net / load``, and the highest price for an
accepted chance is its quantile: no search is needed and fees in per cent are exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calibration.arrays import FloatArray
from grader.valuation.conditional import Conditional
from grader.valuation.outcomes import AtPrice

# A price at a 10 % risk is a point in the tail. With one draw from each piece of every input, and the input that
# moves the worth most integrated, the price of memory modules by the hundred or thousand differs between seeds by
# 0.02 to 0.1 % (standard deviation), also where it falls between the humps of a mixture of thicknesses.
VALUATION_DRAWS = 100_000
# Equal prices computed two ways differ in the last bits; they are no loss.
REL_ROUNDING = 1e-9

_MOST_STEPS = 100  # a dozen is the rule
_CURVE_POINTS = 26
_CURVE_REACH = 1.25


@dataclass(frozen=True)
class Economics:
    """Draws of a lot's money, before a price is known.

    Attributes:
        proceeds: float64 (n,), what the gold or the boards bring.
        costs: float64 (n,), all costs but the price, one's own time among them.
        load: float64 (n,), what a price of 1 costs with fee and tax.
        hours: float64 (n,), of one's own work.
        own_time: float64 (n,), what is set down for these hours.
        given: the worth with the input that moves it most integrated; None if that cannot be done.
    """

    proceeds: FloatArray
    costs: FloatArray
    load: FloatArray
    hours: FloatArray
    own_time: FloatArray
    given: Conditional | None = None

    @cached_property
    def worth(self) -> FloatArray:
        """Price at which each draw neither gains nor loses, float64 (n,)."""
        return (self.proceeds - self.costs) / self.load

    def profit(self, price: float) -> FloatArray:
        """Profit of buying at a price, float64 (n,)."""
        return self.proceeds - self.costs - price * self.load

    def break_even(self) -> float:
        """Price at which the expected profit is zero; negative where even a gift loses on average."""
        return float(np.mean(self.proceeds - self.costs) / np.mean(self.load))

    def price_at_risk(self, chance_of_loss: float) -> float:
        """Price at which the chance of a loss is this; negative where a gift already exceeds it."""
        if self.given is not None:
            return self.given.quantile(chance_of_loss, self.worth)
        return float(np.quantile(self.worth, chance_of_loss))

    def price_at_losses(self, share: float) -> float:
        """Price at which the expected loss is this share, at most 1, of the expected gain; may be negative.

        The expected loss less ``share`` times the expected gain is convex and rises with the price, so Newton's steps
        down from the break-even price reach its zero: each is a mean in which gains count ``share``.
        """
        price = self.break_even()
        for _ in range(_MOST_STEPS):
            weight = np.where(self.profit(price) < 0, 1.0, share)
            lower = float(np.dot(weight, self.proceeds - self.costs) / np.dot(weight, self.load))
            if lower >= price - REL_ROUNDING * abs(price):
                break
            price = lower
        return price

    def chance_of_loss(self, price: float) -> float:
        """Chance that buying at a price loses."""
        least = price * (1 - REL_ROUNDING)
        return float(np.mean(self.worth < least)) if self.given is None else self.given.chance_below(least)

    def at(self, price: float) -> AtPrice:
        """The outcome of buying at a price, in lines."""
        profit = self.profit(price)
        worst, best = np.quantile(profit, [0.05, 0.95])
        return AtPrice(price, float(np.mean(profit)), self.chance_of_loss(price), float(worst), float(best))

    def curve(self, price: float) -> tuple[AtPrice, ...]:
        """What buying at evenly spaced prices means, from zero to beyond this price and the break-even."""
        reach = max(price, self.break_even(), float(np.quantile(self.worth, 0.75)))
        top = _CURVE_REACH * reach if reach > 0 else float(np.mean(self.costs)) or 1.0
        return tuple(self.at(float(p)) for p in np.linspace(0.0, top, _CURVE_POINTS))

    def cash_tied_up(self, price: float) -> float:
        """Money that is out, on average, before anything comes in: price and costs without one's own time."""
        return float(np.mean(price * self.load + self.costs - self.own_time))

    def profit_per_hour(self, price: float) -> float | None:
        """Expected profit before one's own time is paid ÷ expected hours; None if no hours are stated."""
        hours = float(np.mean(self.hours))
        return float(np.mean(self.profit(price) + self.own_time)) / hours if hours > 0 else None
