"""By which rule a price is the highest worth paying.

``ByChance`` looks at one lot: its chance of a loss is the accepted one. ``ByGains`` looks at many lots: over lots
like this one, bought at this price, what the losing ones lose is a share ``s`` of what the winning ones bring,

    E[max(-profit, 0)] = s E[max(profit, 0)].

Without fees that price is the expectile of the worth at ``s / (1 + s)`` (Newey and Powell, Econometrica 55 (1987)
819), a coherent measure of risk for s <= 1 (Bellini, Klar, Müller, Rosazza Gianin, Insurance: Math. and Econ. 54
(2014) 41; both from memory). A lot that is worth nothing with a chance of a fifth has no price at a 10 % chance of a
loss, however much it brings otherwise; by its gains it has one, and losses stay bounded by gains over a year.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from grader.units import format_share


class Priced(Protocol):
    """What a rule asks of a way to deal with a lot."""

    def price_at_risk(self, accepted: float) -> float:
        """Price at which the chance of a loss is ``accepted``."""
        ...

    def price_at_losses(self, share: float) -> float:
        """Price at which losses are this share of gains."""
        ...


@dataclass(frozen=True)
class ByChance:
    """The price at which a loss is as likely as accepted.

    Attributes:
        accepted: chance of a loss, above 0, at most 0.5; 0 if earlier bids left none.
    """

    accepted: float

    @property
    def words(self) -> str:
        """In a sentence."""
        return f"you accept a {format_share(self.accepted)} chance of a loss"

    def price(self, money: Priced) -> float:
        """Highest price; negative where even a gift loses more often."""
        return money.price_at_risk(self.accepted)


@dataclass(frozen=True)
class ByGains:
    """The price at which, over many such lots, losses take a share of the gains.

    Attributes:
        share: above 0, at most 1; at 1 it is the break-even price.
    """

    share: float

    @property
    def words(self) -> str:
        """In a sentence."""
        return (
            f"over many such lots the losing ones may take {format_share(self.share)} of what the winning ones bring"
        )

    def price(self, money: Priced) -> float:
        """Highest price; negative where even gifts lose more."""
        return money.price_at_losses(self.share)


Rule = ByChance | ByGains
