"""Draws of a lot's money, before a price is known, with draws that are shared by name.

In each draw the lot is worth ``net = proceeds - costs``, and a price P costs ``P × load`` with
``load = (1 + fee) × (1 + tax)``. The profit is ``net - P × load``, so a draw loses exactly where ``net / load < P``.
The chance of a loss at P is therefore the distribution function of ``net / load``, and the highest price for an
accepted chance is its quantile: no search is needed and fees in per cent are exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED, FloatArray, Input, draw_all
from grader.model import ProductModel
from grader.valuation.charges import Charge
from grader.valuation.entries import Sale, Spot
from grader.valuation.model import Assumptions, AtPrice
from grader.valuation.quantities import Quantity, Situation, Values

# A price at a 10 % risk is a point in the tail: where gold is known to a factor of two to three (a standard deviation
# of the logarithm of 0.6), its standard error is 0.3 % with this number, 0.7 % with the measurement's.
VALUATION_DRAWS = 100_000
_G_PER_MG = 1e-3
_KG_PER_G = 1e-3
# Equal prices computed two ways differ in the last bits; they are no loss.
REL_ROUNDING = 1e-9

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
    """

    proceeds: FloatArray
    costs: FloatArray
    load: FloatArray
    hours: FloatArray
    own_time: FloatArray

    @property
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
        return float(np.quantile(self.worth, chance_of_loss))

    def at(self, price: float) -> AtPrice:
        """What buying at a price means."""
        profit = self.profit(price)
        loses = self.worth < price * (1 - REL_ROUNDING)
        worst, best = np.quantile(profit, [0.05, 0.95])
        return AtPrice(price, float(np.mean(profit)), float(np.mean(loses)), float(worst), float(best))

    def curve(self, price: float) -> tuple[AtPrice, ...]:
        """What buying at evenly spaced prices means, from zero to beyond this price and the break-even."""
        reach = max(price, self.break_even(), float(np.quantile(self.worth, 0.75)))
        top = _CURVE_REACH * reach if reach > 0 else float(np.mean(self.costs)) or 1.0
        return tuple(self.at(float(p)) for p in np.linspace(0.0, top, _CURVE_POINTS))

    def cash_tied_up(self, price: float) -> float:
        """Money that is out, on average, before anything comes in: price and costs without one's own time."""
        return float(np.mean(price * self.load + self.costs - self.own_time))

    def profit_per_hour(self, price: float) -> float | None:
        """Expected profit before one's own time is paid ÷ expected hours; None where no hours are stated."""
        hours = float(np.mean(self.hours))
        return float(np.mean(self.profit(price) + self.own_time)) / hours if hours > 0 else None


def economics(
    gold_mg: ProductModel,
    assumptions: Assumptions,
    *,
    purchases: int = 1,
    draws: int = VALUATION_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Economics:
    """Draws of the money of stripping a lot and refining its gold.

    Args:
        gold_mg: gold in the lot.
        assumptions: with a gold price.
        purchases: how many buys the lot takes, each with its own costs (shipping).
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``.
    """
    return of_stripping(gold_mg, assumptions, all_values((gold_mg,), assumptions, draws, seed), purchases)


def all_values(models: Iterable[ProductModel], assumptions: Assumptions, draws: int, seed: int) -> Values:
    """Draws, float64 (n,), of every input by its name."""
    inputs: dict[str, Input] = {i.name: i for i in assumptions.inputs()}
    for model in models:
        inputs |= model.inputs
    return draw_all(inputs, draws, seed)


@dataclass(frozen=True)
class Books:
    """What one way to deal with a lot brings and costs. Odds and budget are both made of these entries.

    Attributes:
        proceeds: what the gold or the boards bring.
        charges: all costs but the price, each with what it comes to and the hours of one's own in it.
        load: what a price of 1 costs with fee and tax.
    """

    proceeds: Quantity
    charges: tuple[tuple[Charge, Quantity, Quantity | None], ...]
    load: Quantity

    @staticmethod
    def of(proceeds: Quantity, charges: Iterable[Charge], a: Assumptions, s: Situation) -> Books:
        """Books with these charges, as they fall due in a situation."""
        entries = tuple((c, c.due(s), c.own_hours(s)) for c in charges)
        return Books(proceeds, entries, s.once.raised_by(a.fee).raised_by(a.tax))

    def economics(self) -> Economics:
        """Draws of the money."""
        costs, hours, own_time = (np.zeros(len(self.proceeds.draws)) for _ in range(3))
        for _, due, own_hours in self.charges:
            costs += due.draws
            if own_hours is not None:
                hours += own_hours.draws
                own_time += due.draws
        return Economics(self.proceeds.draws, costs, self.load.draws, hours, own_time)

    def profit(self, price: float) -> ProductModel:
        """The profit of buying at a price, as a sum of products."""
        total = self.proceeds.terms
        for _, due, _ in self.charges:
            total += due.terms.times((), -1.0)
        return total + self.load.terms.times((), -price)


def of_stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of stripping the lot oneself, for given draws of all inputs.

    Raises:
        UsageError: ``spot-missing``.
    """
    return _stripping(gold_mg, a, values, purchases).economics()


def of_sale(sale: Sale, mass_g: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of selling by weight instead; what comes with the purchase is paid all the same."""
    n = len(values[a.fee.name])
    sold_kg = Quantity.present(mass_g, _KG_PER_G, values, n)
    if sale.share is not None:
        sold_kg = sold_kg.times(sale.share)
    bought = (c for c in a.charges if c.basis == "purchase")
    own = sale.charges(None if a.work is None else a.work.rate)
    s = Situation.of(values, n, purchases, sold_kg=sold_kg)
    return Books.of(sold_kg.times(sale.price), (*bought, *own), a, s).economics()


def profit_model(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int, price: float) -> ProductModel:
    """The profit of stripping as a sum of products, for the budget.

    A refiner's minimum is no product. Where it is the charge in most draws it stands for the charge, else the charge
    per gram does; prices and odds do not use this model.
    """
    return _stripping(gold_mg, a, values, purchases).profit(price)


def _stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int) -> Books:
    spot, n = spot_of(a).input, len(values[a.fee.name])
    delivered_g = Quantity.present(gold_mg, _G_PER_MG, values, n).times(a.recovery)
    drift = () if a.drift is None else (a.drift,)
    s = Situation.of(values, n, purchases, delivered_g=delivered_g)
    return Books.of(delivered_g.times(spot, a.payable, *drift), a.charges, a, s)


def spot_of(assumptions: Assumptions) -> Spot:
    """The gold price.

    Raises:
        UsageError: ``spot-missing``.
    """
    if assumptions.spot is None:
        raise UsageError(
            "spot-missing",
            "No gold price was given.",
            "Look up the day's price and give it with its date.",
        )
    return assumptions.spot
