"""Income and costs of the ways to deal with a lot, entry by entry.

A way consists of activities: some boards are stripped, others sold by weight, and stripped boards sold as well.
Each activity has its own income and charges; costs of the purchase are paid once, whatever is done.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED, Input, draw_all
from grader.model import ProductModel
from grader.valuation.bench import Bench, Needs
from grader.valuation.charges import Charge
from grader.valuation.economics import VALUATION_DRAWS, Economics
from grader.valuation.entries import Sale, Spot
from grader.valuation.model import Assumptions
from grader.valuation.portions import Portion, Stock
from grader.valuation.quantities import ChargePer, Quantity, Situation, Values

_NEEDS = ("cut", "load", "l", "h")

# A charge, what it comes to, and the hours of one's own in it.
BookEntry = tuple[Charge, Quantity, Quantity | None]


@dataclass(frozen=True)
class Activity:
    """One thing done with some of the boards.

    Attributes:
        proceeds: its income.
        entries: its costs.
        situation: what these charges depend on.
        waits: whether its income arrives only when the gold is sold.
    """

    proceeds: Quantity
    entries: tuple[BookEntry, ...]
    situation: Situation
    waits: bool = False


@dataclass(frozen=True)
class Branch:
    """A linear piece of a way's profit.

    Attributes:
        profit: at a price of zero, as a sum of products: how it depends on each input that is not bent.
        worth: draws of it ÷ load, float64 (n,).
        bent: names of inputs that the worth is not linear in.
    """

    profit: ProductModel
    worth: FloatArray
    bent: frozenset[str]


@dataclass(frozen=True)
class Books:
    """Income and costs of one way to deal with a lot; odds and budget both come from these entries.

    Attributes:
        proceeds: of all its activities.
        entries: all costs but the price.
        load: total cost of a price of 1, with fee and tax.
        needs: what its work takes, as far as it was planned, and what its chemicals cost ("chemicals").
    """

    proceeds: Quantity
    entries: tuple[BookEntry, ...]
    load: Quantity
    needs: Mapping[str, Quantity] = field(default_factory=dict)

    def economics(self) -> Economics:
        """Draws of the money."""
        costs, hours, own_time = (np.zeros(len(self.proceeds.draws)) for _ in range(3))
        for _, due, own_hours in self.entries:
            costs += due.draws
            if own_hours is not None:
                hours += own_hours.draws
                own_time += due.draws
        return Economics(self.proceeds.draws, costs, self.load.draws, hours, own_time)

    def branches(self) -> Iterator[Branch]:
        """Linear pieces of the profit at a price of zero, the least of which it is in each draw.

        A charge that is the greater of two gives two: one with each of them.
        """
        drawn = self.economics()
        for chosen in product(*(due.either or (due,) for _, due, _ in self.entries)):
            terms, profit = self.proceeds.terms, drawn.proceeds - drawn.costs
            bent = self.proceeds.bent.union(i.name for i in self.load.terms.used_inputs())
            for due, (_, entry, _) in zip(chosen, self.entries, strict=True):
                terms += due.terms.times((), -1.0)
                profit = profit + entry.draws - due.draws
                bent |= due.bent
            yield Branch(terms, profit / drawn.load, bent)

    def profit(self, price: float) -> ProductModel:
        """The profit of buying at a price, as a sum of products.

        A refiner's minimum is not a product. Where it is the charge in most draws it stands for the charge, otherwise
        the charge per gram does; prices and odds do not use this model.
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
        purchases: number of purchases that make up the lot, each with its own costs (shipping).
        bench: plans the work; None if nothing is planned.
    """

    a: Assumptions
    values: Values
    n: int
    purchases: int = 1
    bench: Bench | None = None

    def stock(self, portions: Iterable[Portion]) -> Stock:
        """Portions together, drawn."""
        return Stock.of(portions, self.values, self.n)

    def stripping(self, stock: Stock) -> Activity:
        """Strip boards and have their gold refined.

        Raises:
            UsageError: ``spot-missing``.
        """
        spot = spot_of(self.a).input
        delivered_g, terms = stock.gold_g.times(self.a.recovery), self.a.settlement
        if terms is not None and terms.melt_loss is not None:
            delivered_g = delivered_g.without(terms.melt_loss)
        payable = self.a.payable
        paid_g = delivered_g.times(payable) if terms is None else terms.paid(delivered_g, payable)
        drift = () if self.a.drift is None else (self.a.drift,)
        needs = Needs() if self.bench is None else self.bench.stripping(stock, self.values)
        amounts: dict[ChargePer, Quantity | None] = {
            "kg": stock.boards_kg,
            "kg of pieces": stock.stripped_kg,
            "board": stock.boards,
            "cut": stock.cuts,
            "g of gold": delivered_g,
        }
        s = self._situation(amounts, needs, delivered_g=delivered_g)
        charges = (c for c in self.a.charges if c.basis == "lot")
        return Activity(paid_g.times(spot, *drift), _entries(charges, s), s, waits=True)

    def selling(self, sale: Sale, stock: Stock, off_kg: Quantity | None = None) -> Activity:
        """Sell the goods of a sale by weight.

        Args:
            sale: of the boards as they are, of the pieces trimmed off them, or of what is left of them then.
            stock: the boards, of a mass that is known.
            off_kg: what was cut off them before; None if that is not known.

        Raises:
            UsageError: ``spot-missing`` for pieces that are paid by their gold.
        """
        sold_kg = self._sold_kg(sale, stock, off_kg)
        needs = Needs()
        if self.bench is not None and sale.what != "bodies":
            work = self.bench.trimming if sale.what == "pieces" else self.bench.packing
            needs = work(stock, self.values)
        amounts: dict[ChargePer, Quantity | None] = {
            "kg": sold_kg,
            "board": stock.boards,
            "cut": stock.cuts if sale.what == "pieces" else None,
        }
        s = self._situation(amounts, needs, sold_kg=sold_kg)
        if sale.pays is not None:
            proceeds = stock.gold_in_pieces_g.times(spot_of(self.a).input, sale.pays)
        else:
            proceeds = sold_kg.times(*(() if sale.price is None else (sale.price,)))
        own = sale.charges(None if self.a.work is None else self.a.work.rate)
        return Activity(proceeds, _entries(own, s), s)

    def _sold_kg(self, sale: Sale, stock: Stock, off_kg: Quantity | None) -> Quantity:
        boards_kg = stock.boards_kg or Quantity.nothing(self.values, self.n)
        if sale.what == "pieces":
            if stock.pieces_kg is not None:
                return stock.pieces_kg
            return boards_kg if sale.share is None else boards_kg.times(sale.share)
        if sale.what == "boards":
            return boards_kg if sale.share is None else boards_kg.times(sale.share)
        if off_kg is not None:
            return boards_kg.less(off_kg)
        return boards_kg if self.trimmed is None else boards_kg.without(self.trimmed)

    @property
    def trimmed(self) -> Input | None:
        """Share of the boards' mass that is trimmed off where no rows tell; None if no sale of pieces says it."""
        return next((s.share for s in self.a.sales if s.what == "pieces" and s.share is not None), None)

    def books(self, *activities: Activity, lot: Stock | None = None) -> Books:
        """Books of a way, with what comes with the purchase of the lot."""
        first, *others = activities
        proceeds, s = first.proceeds, first.situation
        for other in others:
            proceeds, s = proceeds + other.proceeds, s.with_also(other.situation)
        if lot is not None:
            whole: dict[ChargePer, Quantity | None] = {"kg": lot.boards_kg, "board": lot.boards}
            s = replace(s, amounts={per: q for per, q in whole.items() if q is not None})
        bought = _entries((c for c in self.a.charges if c.basis == "purchase"), s)
        entries = (*bought, *(e for done in activities for e in done.entries))
        load = s.once.raised_by(self.a.fee).raised_by(self.a.tax)
        interest = self.a.interest
        if interest is not None and any(done.waits for done in activities):
            years = interest.years(self.a.weeks or 0.0)
            load = load.raised_by(interest.rate, years)
            # one's own time ties up no money
            out = [(c, due.times(interest.rate).scaled(years), None) for c, due, hours in entries if hours is None]
            entries = (*entries, *out)
        return Books(proceeds, entries, load, self._needs(activities))

    def _needs(self, activities: Iterable[Activity]) -> dict[str, Quantity]:
        if self.bench is None:
            return {}
        found: dict[str, Quantity] = {}
        for done in activities:
            amounts: dict[str, Quantity] = {per: q for per, q in done.situation.amounts.items() if per in _NEEDS}
            if done.situation.chemicals is not None:
                amounts["chemicals"] = done.situation.chemicals
            for name, amount in amounts.items():
                found[name] = found[name] + amount if name in found else amount
        return found

    def _situation(
        self,
        amounts: Mapping[ChargePer, Quantity | None],
        needs: Needs,
        *,
        delivered_g: Quantity | None = None,
        sold_kg: Quantity | None = None,
    ) -> Situation:
        return Situation.of(
            self.values,
            self.n,
            self.purchases,
            delivered_g=delivered_g,
            sold_kg=sold_kg,
            amounts={**amounts, **needs.amounts},
            chemicals=needs.chemicals,
        )


def _entries(charges: Iterable[Charge], s: Situation) -> tuple[BookEntry, ...]:
    return tuple((c, c.due(s), c.own_hours(s)) for c in charges)


def all_values(
    models: Iterable[ProductModel],
    assumptions: Assumptions,
    draws: int,
    seed: int,
    more: Iterable[Input] = (),
) -> Values:
    """Draws, float64 (n,), of every input by its name; ``more`` are those of the bench."""
    inputs: dict[str, Input] = {i.name: i for i in (*assumptions.inputs(), *more)}
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
        purchases: number of purchases that make up the lot, each with its own costs (shipping).
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``.
    """
    return of_stripping(gold_mg, assumptions, all_values((gold_mg,), assumptions, draws, seed), purchases)


def of_stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of stripping the lot, for given draws of all inputs.

    Raises:
        UsageError: ``spot-missing``.
    """
    return _stripping(gold_mg, a, values, purchases).economics()


def _stripping(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int) -> Books:
    keeper = Bookkeeper(a, values, len(values[a.fee.name]), purchases)
    return keeper.books(keeper.stripping(keeper.stock([Portion("the boards", gold_mg)])))


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
