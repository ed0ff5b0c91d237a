"""What the ways to deal with a lot bring and cost, entry by entry.

A way is made of activities: boards are stripped, others are sold by weight, what is left of the first is sold too.
Each activity brings something and has its own charges; what comes with the purchase is paid once, whatever is done.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED, Input, draw_all
from grader.model import ProductModel
from grader.valuation.charges import Charge
from grader.valuation.economics import VALUATION_DRAWS, Economics
from grader.valuation.entries import Sale, Spot
from grader.valuation.model import Assumptions
from grader.valuation.portions import Portion, Stock
from grader.valuation.quantities import Quantity, Situation, Values

# A charge, what it comes to, and the hours of one's own in it.
Entry = tuple[Charge, Quantity, Quantity | None]


@dataclass(frozen=True)
class Activity:
    """One thing that is done with some of the boards.

    Attributes:
        proceeds: what it brings.
        entries: what it costs.
        situation: what these charges depend on.
    """

    proceeds: Quantity
    entries: tuple[Entry, ...]
    situation: Situation


@dataclass(frozen=True)
class Books:
    """What one way to deal with a lot brings and costs. Odds and budget are both made of these entries.

    Attributes:
        proceeds: of all its activities.
        entries: all costs but the price.
        load: what a price of 1 costs with fee and tax.
    """

    proceeds: Quantity
    entries: tuple[Entry, ...]
    load: Quantity

    def economics(self) -> Economics:
        """Draws of the money."""
        costs, hours, own_time = (np.zeros(len(self.proceeds.draws)) for _ in range(3))
        for _, due, own_hours in self.entries:
            costs += due.draws
            if own_hours is not None:
                hours += own_hours.draws
                own_time += due.draws
        return Economics(self.proceeds.draws, costs, self.load.draws, hours, own_time)

    def profit(self, price: float) -> ProductModel:
        """The profit of buying at a price, as a sum of products.

        A refiner's minimum is no product. Where it is the charge in most draws it stands for the charge, else the
        charge per gram does; prices and odds do not use this model.
        """
        total = self.proceeds.terms
        for _, due, _ in self.entries:
            total += due.terms.times((), -1.0)
        return total + self.load.terms.times((), -price)


@dataclass(frozen=True)
class Bookkeeper:
    """Writes books for given draws of all inputs.

    Attributes:
        a: assumptions, with a gold price where something is stripped.
        values: draws of every input by its name.
        n: their number.
        purchases: how many buys the lot takes, each with its own costs (shipping).
    """

    a: Assumptions
    values: Values
    n: int
    purchases: int = 1

    def stock(self, portions: Iterable[Portion]) -> Stock:
        """Portions together, drawn."""
        return Stock.of(portions, self.values, self.n)

    def stripping(self, stock: Stock) -> Activity:
        """Stripping boards oneself and having their gold refined.

        Raises:
            UsageError: ``spot-missing``.
        """
        spot = spot_of(self.a).input
        delivered_g = stock.gold_g.times(self.a.recovery)
        drift = () if self.a.drift is None else (self.a.drift,)
        s = Situation.of(self.values, self.n, self.purchases, delivered_g=delivered_g)
        charges = (c for c in self.a.charges if c.basis == "lot")
        return Activity(delivered_g.times(spot, self.a.payable, *drift), _entries(charges, s), s)

    def selling(self, sale: Sale, boards_kg: Quantity) -> Activity:
        """Selling by weight what a sale is of.

        Args:
            sale: of the boards as they are, of the pieces trimmed off them, or of what is left of them then.
            boards_kg: mass of the boards, kg.
        """
        sold_kg = boards_kg
        if sale.share is not None:
            sold_kg = boards_kg.times(sale.share)
        elif sale.what == "bodies" and (trimmed := self.trimmed) is not None:
            sold_kg = boards_kg.without(trimmed)
        s = Situation.of(self.values, self.n, self.purchases, sold_kg=sold_kg)
        own = sale.charges(None if self.a.work is None else self.a.work.rate)
        return Activity(sold_kg.times(sale.price), _entries(own, s), s)

    @property
    def trimmed(self) -> Input | None:
        """Share of the boards' mass that is trimmed off; None where no sale of pieces says it."""
        return next((s.share for s in self.a.sales if s.what == "pieces" and s.share is not None), None)

    def books(self, *activities: Activity) -> Books:
        """Books of a way, with what comes with the purchase."""
        first, *others = activities
        proceeds, s = first.proceeds, first.situation
        for other in others:
            proceeds, s = proceeds + other.proceeds, s.with_also(other.situation)
        bought = _entries((c for c in self.a.charges if c.basis == "purchase"), s)
        entries = (*bought, *(e for done in activities for e in done.entries))
        return Books(proceeds, entries, s.once.raised_by(self.a.fee).raised_by(self.a.tax))


def _entries(charges: Iterable[Charge], s: Situation) -> tuple[Entry, ...]:
    return tuple((c, c.due(s), c.own_hours(s)) for c in charges)


def all_values(models: Iterable[ProductModel], assumptions: Assumptions, draws: int, seed: int) -> Values:
    """Draws, float64 (n,), of every input by its name."""
    inputs: dict[str, Input] = {i.name: i for i in assumptions.inputs()}
    for model in models:
        inputs |= model.inputs
    return draw_all(inputs, draws, seed)


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


def of_stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of stripping the lot oneself, for given draws of all inputs.

    Raises:
        UsageError: ``spot-missing``.
    """
    return _stripping(gold_mg, a, values, purchases).economics()


def profit_model(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int, price: float) -> ProductModel:
    """The profit of stripping as a sum of products, for the budget."""
    return _stripping(gold_mg, a, values, purchases).profit(price)


def _stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int) -> Books:
    keeper = Bookkeeper(a, values, len(values[a.fee.name]), purchases)
    return keeper.books(keeper.stripping(keeper.stock([Portion("the boards", gold_mg)])))


def of_sale(sale: Sale, mass_g: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of selling boards by weight instead; what comes with the purchase is paid all the same."""
    n = len(values[a.fee.name])
    keeper = Bookkeeper(a, values, n, purchases)
    return keeper.books(keeper.selling(sale, Quantity.present(mass_g, 1e-3, values, n))).economics()


def spot_of(assumptions: Assumptions) -> Spot:
    """The gold price.

    Raises:
        UsageError: ``spot-missing``.
    """
    if assumptions.spot is None:
        raise UsageError(
            "spot-missing",
            "No gold price was given.",
            "Look up today's price and give it with its date, such as --spot '… USD/ozt' --spot-date 2026-11-20.",
        )
    return assumptions.spot
