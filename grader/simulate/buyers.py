"""Buyers: each decides from what is offered whether to pay the asking price."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from grader.lot import estimate_lot
from grader.model import Range
from grader.simulate.world import InventedLot
from grader.valuation import Assumptions, economics
from grader.valuation.economics import Economics
from grader.valuation.learned import recovery_once

DRAWS = 10_000

DecisionRule = Callable[["Trial"], bool]
"""Whether to buy at the asking price; it may remember what it was asked before."""


@dataclass(frozen=True)
class Trial:
    """One lot with everything that the buyers work out from it.

    Attributes:
        lot: the invented lot.
        highest: the tool's highest price worth paying.
        over_many: the tool's price for a buyer of many lots, at which losses take a share of the gains.
        break_even: the tool's break-even price.
        point_price: price at which the profit is zero if every input is at its median.
        rate_per_kg: price per kilogram that the buyer by weight pays.
        expected: profit at the asking price that the tool expects.
        chance: chance of a loss at the asking price, by the tool.
        gold_mg: the tool's range of the gold.
    """

    lot: InventedLot
    highest: float
    over_many: float
    break_even: float
    point_price: float
    rate_per_kg: float
    expected: float
    chance: float
    gold_mg: Range


@dataclass(frozen=True)
class Appraisal:
    """The tool's view of a lot: the trial, and the money behind it."""

    trial: Trial
    money: Economics


def appraise(
    assumptions: Assumptions, lot: InventedLot, number: int, rate_per_kg: float = 0.0, accepted: float | None = None
) -> Appraisal:
    """Let the tool estimate and value a lot.

    Args:
        assumptions: the buyer's money.
        lot: the lot on offer; its ``seen`` holds the buyer's belief about the plating.
        number: number of the lot, which seeds the draws.
        rate_per_kg: price per kilogram of the buyer by weight.
        accepted: accepted chance of a loss that replaces the one in the assumptions.
    """
    gold = estimate_lot(lot.seen).gold_mg
    draws = np.maximum(gold.draws(DRAWS, number), 0.0)
    money = economics(gold, recovery_once(assumptions, gold), draws=DRAWS, seed=number)
    at = money.at(lot.asking)
    point = (np.median(money.proceeds) - np.median(money.costs)) / np.median(money.load)
    highest = money.price_at_risk(assumptions.accepted_loss if accepted is None else accepted)
    trial = Trial(
        lot,
        highest,
        assumptions.over_many.price(money),
        money.break_even(),
        float(point),
        rate_per_kg,
        at.expected_profit,
        at.chance_of_loss,
        Range.of(draws),
    )
    return Appraisal(trial, money)


def best_rate_per_kg(lots: Sequence[InventedLot]) -> float:
    """The price per kilogram that would have earned most on some lots: a buyer by weight has learned to pay it."""
    asked = np.array([lot.asking / lot.mass_kg for lot in lots])
    profits = np.array([lot.profit(lot.asking) for lot in lots])
    order = np.argsort(asked)
    earned = np.cumsum(profits[order])
    best = int(np.argmax(earned))
    return float(asked[order][best]) if earned[best] > 0 else 0.0


@dataclass(frozen=True)
class Buyer:
    """One way to buy.

    Attributes:
        name: name of this way.
        starts: given the accepted chance of a loss, starts deciding on one lot after another.
        limit: the price up to which it buys a lot, whatever came before; None if more than a price decides.
    """

    name: str
    starts: Callable[[float], DecisionRule]
    limit: Callable[[Trial], float] | None = None


def _up_to(name: str, limit: Callable[[Trial], float]) -> Buyer:
    return Buyer(name, lambda _: lambda t: t.lot.asking <= limit(t), limit)


def _over_many_lots(accepted: float) -> DecisionRule:
    """Buy what pays on average as long as, over all lots bought so far, losses stay as likely as accepted.

    The mean chance of a loss over the buys is, on average, the share of them that will lose. For statistical tests
    this is called a Bayesian false discovery rate (Müller, Parmigiani, Robert, Rousseau, J. Am. Stat. Assoc. 99
    (2004) 990). It leaves room for a risky lot where the others were safe; a separate limit for each lot does not.
    """
    chances: list[float] = []

    def decide(t: Trial) -> bool:
        takes = t.expected > 0 and (sum(chances) + t.chance) / (len(chances) + 1) <= accepted
        if takes:
            chances.append(t.chance)
        return takes

    return decide


HIGHEST = _up_to("this tool, highest price", lambda t: t.highest)
MANY_LOTS = Buyer("this tool, accepted loss over many lots", _over_many_lots)
BY_GAINS = _up_to("this tool, price over many lots", lambda t: t.over_many)
BREAK_EVEN = _up_to("this tool, break-even price", lambda t: t.break_even)
ORACLE = Buyer("oracle, knows the truth", lambda _: lambda t: t.lot.profit(t.lot.asking) > 0)
BUYERS: tuple[Buyer, ...] = (
    HIGHEST,
    MANY_LOTS,
    BY_GAINS,
    BREAK_EVEN,
    _up_to("point estimate alone", lambda t: t.point_price),
    _up_to("fixed price per kilogram", lambda t: t.rate_per_kg * t.lot.mass_kg),
    ORACLE,
)
"""The last is what no buyer can be."""
