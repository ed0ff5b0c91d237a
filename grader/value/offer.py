"""From gold with a range to the most to pay, by Monte Carlo with draws that are shared by name.

In each draw the lot is worth ``net = gold × recovery × payable × gold price - costs``, and a price P costs
``P × load`` with ``load = (1 + fee) × (1 + tax)``. The profit is ``net - P × load``, so a draw loses exactly where
``net / load < P``. The chance of a loss at P is therefore the distribution function of ``net / load``, and the
highest price for an accepted chance is its quantile: no search is needed and fees in per cent are exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED, FloatArray
from calibration.notices import Notice, notice
from grader.budget import budget
from grader.model import ProductModel, Range, Term
from grader.units import Money, format_share
from grader.value.model import Assumptions, AtPrice, Cost, Offer, Spot
from grader.value.notices import STATEMENTS

STALE_AFTER_DAYS = 7
# A price at a 10 % risk is a point in the tail: where gold is known to a factor of two to three (a standard deviation
# of the logarithm of 0.6), its standard error is 0.3 % with this number, 0.7 % with the measurement's.
VALUATION_DRAWS = 100_000
_G_PER_MG = 1e-3
# Equal prices computed two ways differ in the last bits; they are no loss.
_REL_ROUNDING = 1e-9


@dataclass(frozen=True)
class Economics:
    """Draws of a lot's money, before a price is known.

    Attributes:
        proceeds: float64 (n,), what the gold brings.
        costs: float64 (n,), all costs but the price.
        load: float64 (n,), what a price of 1 costs with fee and tax.
    """

    proceeds: FloatArray
    costs: FloatArray
    load: FloatArray

    @property
    def worth(self) -> FloatArray:
        """Price at which each draw neither gains nor loses, float64 (n,)."""
        return (self.proceeds - self.costs) / self.load

    def break_even(self) -> float:
        """Price at which the expected profit is zero; negative where even a gift loses on average."""
        return float(np.mean(self.proceeds - self.costs) / np.mean(self.load))

    def price_at_risk(self, chance_of_loss: float) -> float:
        """Price at which the chance of a loss is this; negative where a gift already exceeds it."""
        return float(np.quantile(self.worth, chance_of_loss))

    def at(self, price: float) -> AtPrice:
        """What buying at a price means."""
        profit = self.proceeds - self.costs - price * self.load
        loses = self.worth < price * (1 - _REL_ROUNDING)
        return AtPrice(price, float(np.mean(profit)), float(np.mean(loses)), float(np.quantile(profit, 0.05)))


def economics(
    gold_mg: ProductModel,
    assumptions: Assumptions,
    *,
    purchases: int = 1,
    draws: int = VALUATION_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Economics:
    """Draws of proceeds, costs and the load on the price.

    Args:
        gold_mg: gold in the lot.
        assumptions: with a gold price.
        purchases: how many buys the lot takes, each with its own costs (shipping).
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``.
    """
    spot = _spot(assumptions)

    def drawn(*names: str) -> list[FloatArray]:
        return [i.draws(draws, seed) for i in assumptions.inputs() if i.name in names]

    # A normal range about a small area reaches below zero; gold does not.
    gold_g = np.maximum(gold_mg.draws(draws, seed), 0.0) * _G_PER_MG
    proceeds = np.prod([gold_g, *drawn(spot.input.name, assumptions.payable.name, assumptions.recovery.name)], axis=0)
    costs = np.zeros(draws)
    for cost in assumptions.costs:
        costs += _times(cost, purchases) * cost.input.draws(draws, seed)
    load = np.prod([1 + d for d in drawn(assumptions.fee.name, assumptions.tax.name)], axis=0)
    return Economics(proceeds, costs, load)


def value_lot(
    gold_mg: ProductModel,
    assumptions: Assumptions,
    *,
    today: date,
    asking_price: Money | None = None,
    purchases: int = 1,
    notices: tuple[Notice, ...] = (),
    lot: Sequence[Mapping[str, Any]] = (),
    draws: int = VALUATION_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Offer:
    """What to pay for a lot, and what an asking price would mean.

    Args:
        gold_mg: gold in the lot's visible plating.
        assumptions: with a gold price.
        today: the day of the valuation, to tell how old the gold price is.
        asking_price: of the seller, before fee and tax.
        purchases: how many buys the lot takes.
        notices: of the lot and its measurements, handed on.
        lot: what the lot is said to hold, for the record.
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``, ``spot-date-future``, ``currencies-differ``, ``money-negative``.
    """
    spot = _spot(assumptions)
    asking = None if asking_price is None else _amount(asking_price, assumptions)
    own = [*_spot_notices(spot, today), *_example_notices(assumptions)]
    money = economics(gold_mg, assumptions, purchases=purchases, draws=draws, seed=seed)

    at_risk, break_even = money.price_at_risk(assumptions.accepted_loss), money.break_even()
    highest = money.at(max(at_risk, 0.0))
    accepted = format_share(assumptions.accepted_loss)
    reason = None
    if at_risk <= 0:
        reason = notice("even-a-gift-loses", chance=format_share(highest.chance_of_loss), accepted=accepted)
    elif at_risk > break_even * (1 + _REL_ROUNDING):
        own.append(notice("price-above-break-even", accepted=accepted))
    # With the measurement's number of draws, so that its figures come back unchanged.
    gold = np.maximum(gold_mg.draws(seed=seed), 0.0)
    if not gold.any():
        own.insert(0, notice("no-gold-seen"))

    budget_price = highest.price if asking is None else asking
    return Offer(
        gold_mg=Range.of(gold),
        proceeds=Range.of(money.proceeds),
        costs=Range.of(money.costs),
        break_even=max(break_even, 0.0),
        highest=highest,
        reason=reason,
        asking=None if asking is None else money.at(asking),
        budget=budget(_profit_model(gold_mg, assumptions, purchases, budget_price), draws, seed),
        budget_price=budget_price,
        assumptions=assumptions,
        lot=tuple(lot),
        notices=(*own, *notices),
        statements=STATEMENTS,
    )


def _profit_model(gold_mg: ProductModel, a: Assumptions, purchases: int, price: float) -> ProductModel:
    """The profit as a sum of products, for the budget."""
    profit = gold_mg.times((_spot(a).input, a.payable, a.recovery), _G_PER_MG)
    for cost in a.costs:
        profit += ProductModel((Term(-_times(cost, purchases), (cost.input.name,)),), {cost.input.name: cost.input})
    fee, tax = a.fee.name, a.tax.name
    loads = tuple(Term(-price, factors) for factors in ((), (fee,), (tax,), (fee, tax)))
    return profit + ProductModel(loads, {fee: a.fee, tax: a.tax})


def _times(cost: Cost, purchases: int) -> float:
    return float(purchases) if cost.basis == "purchase" else 1.0


def _spot(assumptions: Assumptions) -> Spot:
    if assumptions.spot is None:
        raise UsageError(
            "spot-missing",
            "No gold price was given.",
            "Look up today's price and give it with its date, such as --spot '… USD/ozt' --spot-date 2026-11-20.",
        )
    return assumptions.spot


def _amount(asking_price: Money, assumptions: Assumptions) -> float:
    if asking_price.currency != assumptions.currency:
        raise UsageError(
            "currencies-differ",
            f"The asking price is in {asking_price.currency}, everything else in {assumptions.currency}.",
            "Give all amounts in one currency; none is converted here.",
        )
    if not asking_price.amount >= 0:
        raise UsageError("money-negative", "The asking price is negative.", "Give a price of zero or more.")
    return float(asking_price.amount)


def _spot_notices(spot: Spot, today: date) -> list[Notice]:
    age = (today - spot.on).days
    # One day of grace: it is already tomorrow in another time zone.
    if age < -1:
        raise UsageError("spot-date-future", f"The gold price is of {spot.on}, a day to come.", "Check the date.")
    return [notice("spot-stale", date=spot.on, days=age)] if age > STALE_AFTER_DAYS else []


def _example_notices(assumptions: Assumptions) -> list[Notice]:
    titles = [i.title for i in assumptions.inputs() if i.name in assumptions.examples]
    return [notice("example-assumptions", titles="; ".join(titles))] if titles else []
