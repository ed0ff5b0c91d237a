"""Buyers: each decides from what is offered whether to pay the asking price."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from grader.lot import estimate_lot
from grader.model import Range
from grader.simulate.world import InventedLot, World
from grader.value import economics

Buyer = Callable[["Trial"], bool]
_DRAWS = 10_000


@dataclass(frozen=True)
class Trial:
    """One lot with all that the buyers work out of it.

    Attributes:
        lot: as invented.
        highest: the tool's highest price worth paying.
        break_even: the tool's break-even price.
        point_price: at which the profit is zero if every input is at its median.
        rate_per_kg: what the buyer by weight pays.
        gold_mg: the tool's range of the gold.
    """

    lot: InventedLot
    highest: float
    break_even: float
    point_price: float
    rate_per_kg: float
    gold_mg: Range


def appraise(world: World, lot: InventedLot, number: int, rate_per_kg: float) -> Trial:
    """Let the tool estimate and value a lot."""
    gold = estimate_lot(lot.seen).gold_mg
    draws = np.maximum(gold.draws(_DRAWS, number), 0.0)
    money = economics(gold, world.assumptions, draws=_DRAWS, seed=number)
    point = (np.median(money.proceeds) - np.median(money.costs)) / np.median(money.load)
    highest = money.price_at_risk(world.assumptions.accepted_loss)
    return Trial(lot, highest, money.break_even(), float(point), rate_per_kg, Range.of(draws))


def best_rate_per_kg(lots: Sequence[InventedLot]) -> float:
    """The price per kilogram that would have earned most on some lots: what a buyer by weight has learned to pay."""
    asked = np.array([lot.asking / lot.mass_kg for lot in lots])
    profits = np.array([lot.profit(lot.asking) for lot in lots])
    order = np.argsort(asked)
    earned = np.cumsum(profits[order])
    best = int(np.argmax(earned))
    return float(asked[order][best]) if earned[best] > 0 else 0.0


BUYERS: Mapping[str, Buyer] = {
    "this tool, highest price": lambda t: t.lot.asking <= t.highest,
    "this tool, break-even price": lambda t: t.lot.asking <= t.break_even,
    "point estimate alone": lambda t: t.lot.asking <= t.point_price,
    "fixed price per kilogram": lambda t: t.lot.asking / t.lot.mass_kg <= t.rate_per_kg,
    "oracle, knows the truth": lambda t: t.lot.profit(t.lot.asking) > 0,
}
"""By name; the last is what no buyer can be."""
