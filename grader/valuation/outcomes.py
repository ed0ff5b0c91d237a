"""What buying at a price would mean: its odds, of each way to deal with the lot, and over many lots."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from grader.model import Range


@dataclass(frozen=True)
class AtPrice:
    """The outcome of buying at a price.

    Attributes:
        price: paid to the seller, before fee and tax.
        expected_profit: mean over all cases.
        chance_of_loss: 0..1.
        worst_in_twenty: profit that is undercut in one case of twenty (5 % quantile).
        best_in_twenty: profit that is exceeded in one case of twenty (95 % quantile).
    """

    price: float
    expected_profit: float
    chance_of_loss: float
    worst_in_twenty: float
    best_in_twenty: float

    def as_json(self) -> dict[str, float]:
        """The form used in reports."""
        return {
            "price": self.price,
            "expected_profit": self.expected_profit,
            "chance_of_loss": self.chance_of_loss,
            "worst_in_twenty": self.worst_in_twenty,
            "best_in_twenty": self.best_in_twenty,
        }


@dataclass(frozen=True)
class RouteOutcome:
    """The outcome of one way to deal with the lot, bought at a price.

    Attributes:
        name: short name.
        title: in plain words.
        at: odds at that price.
        highest_price: of this way, by the same rule as the lot's; 0 if even a gift loses too much.
        break_even: price at which this way's expected profit is zero; 0 if it would be negative.
        hours: of one's own work, expected.
        profit_per_hour: expected profit before one's own time is paid, an hour; None if no hours are stated.
        cash_tied_up: money that is out before anything comes in, expected.
        needs: what its work takes, as far as it was planned: "cut", "load" (of a vessel), "l" (of waste), "h" (of
            one's own), and what its "chemicals" cost.
    """

    name: str
    title: str
    at: AtPrice
    highest_price: float
    break_even: float
    hours: float
    profit_per_hour: float | None
    cash_tied_up: float
    needs: Mapping[str, Range] = field(default_factory=dict)

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "route": self.name,
            "title": self.title,
            **self.at.as_json(),
            "highest_price": self.highest_price,
            "break_even": self.break_even,
            "hours": self.hours,
            "profit_per_hour": self.profit_per_hour,
            "cash_tied_up": self.cash_tied_up,
            "needs": {name: amount.as_json() for name, amount in self.needs.items()},
        }


@dataclass(frozen=True)
class OverMany:
    """The highest price for a buyer of many lots: at which losing ones take a share of what winning ones bring.

    Attributes:
        share: of the gains.
        route: name of the way that bears this price.
        title: of it, plain words.
        at: odds at that price; the price is 0 if even gifts would lose more.
    """

    share: float
    route: str
    title: str
    at: AtPrice

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {"share_of_gains": self.share, "route": self.route, "title": self.title, **self.at.as_json()}
