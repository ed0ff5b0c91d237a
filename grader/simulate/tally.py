"""Profits and losses of a buyer, counted, with the uncertainty due to chance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.scores import HitRate, share
from grader.simulate.buyers import Buyer, Trial
from grader.simulate.world import InventedLot

_Z_90 = 1.6448536269514722  # 95 % point of the standard normal distribution


@dataclass(frozen=True)
class Decision:
    """A buyer's decision about one lot.

    Attributes:
        lot: the invented lot.
        bought: whether he took it.
        profit: profit from it, including a test.
        limit: price up to which he would have taken it; None if he has no such limit.
        tested: whether he bought, stripped and weighed a few of its boards first.
    """

    lot: InventedLot
    bought: bool
    profit: float
    limit: float | None
    tested: bool = False

    @staticmethod
    def of(buyer: Buyer, trial: Trial, *, bought: bool) -> Decision:
        """A decision without a test."""
        limit = None if buyer.limit is None else buyer.limit(trial)
        return Decision(trial.lot, bought, trial.lot.profit(trial.lot.asking) if bought else 0.0, limit)


@dataclass(frozen=True)
class BuyerReport:
    """Result of one way to buy.

    Attributes:
        buyer: its name.
        bought: number of lots bought.
        tests: lots of which a few boards were bought, stripped and weighed before deciding; not counted as bought.
        profit: profit over all lots, after paying for tests.
        share_of_oracle: share of the profit that knowing the truth would have made; None if that is zero.
        losing: share of the lots bought that lost money, without the cost of their tests; None if nothing was
            bought.
        loss_at_limit: share of all lots that would have lost if bought for just the price up to which this buyer
            buys: the figure that an accepted chance of a loss refers to. None if there is no such price.
        lost_of_gains: losses of the lots bought that lost money ÷ gains of the others; None if no lot gained.
        regret: profit left on the table, per lot offered.
    """

    buyer: str
    bought: int
    tests: int
    profit: float
    share_of_oracle: float | None
    losing: HitRate | None
    loss_at_limit: HitRate | None
    lost_of_gains: float | None
    regret: float

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "buyer": self.buyer,
            "bought": self.bought,
            "tests": self.tests,
            "profit": self.profit,
            "share_of_oracle": self.share_of_oracle,
            "losing_share": share_json(self.losing),
            "loss_at_limit": share_json(self.loss_at_limit),
            "lost_of_gains": self.lost_of_gains,
            "regret_per_lot": self.regret,
        }


def share_json(known: HitRate | None) -> list[float] | None:
    """A share as value, low and high."""
    return None if known is None else [known.value, known.low, known.high]


def buyer_report(name: str, groups: Sequence[Sequence[Decision]], oracle: float) -> BuyerReport:
    """Count the steps of one buyer.

    Args:
        name: name of the buyer.
        groups: groups of steps that share the same luck.
        oracle: profit when the truth is known, over the same lots.
    """
    steps = [s for group in groups for s in group]
    profit = sum(s.profit for s in steps)
    return BuyerReport(
        name,
        sum(s.bought for s in steps),
        sum(s.tested for s in steps),
        profit,
        profit / oracle if oracle > 0 else None,
        grouped([[s.lot.loses(s.lot.asking) for s in group if s.bought] for group in groups]),
        grouped([[s.lot.loses(s.limit) for s in group if s.limit is not None and s.limit > 0] for group in groups]),
        _lost_of_gains([s.lot.profit(s.lot.asking) for s in steps if s.bought]),
        (oracle - profit) / len(steps),
    )


def _lost_of_gains(profits: Sequence[float]) -> float | None:
    won = sum(p for p in profits if p > 0)
    return sum(-p for p in profits if p < 0) / won if won > 0 else None


def grouped(cases: Sequence[Sequence[bool]]) -> HitRate | None:
    """A share of cases that come in groups with shared luck; None without cases.

    The range is Wilson's for single cases or, where wider, that of a ratio estimated from groups (Cochran,
    Sampling Techniques, 3rd ed. 1977, 6.3: the residuals of hits about the share × cases).
    """
    filled = [group for group in cases if group]
    if not filled:
        return None
    known = share(sum(map(sum, filled)), sum(map(len, filled)))
    if len(filled) < 2:
        return known
    squares = sum((sum(group) - known.value * len(group)) ** 2 for group in filled)
    half = _Z_90 * math.sqrt(squares * len(filled) / (len(filled) - 1)) / known.cases
    low, high = min(known.low, known.value - half), max(known.high, known.value + half)
    return HitRate(known.hits, known.cases, known.value, max(low, 0.0), min(high, 1.0))
