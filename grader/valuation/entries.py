"""The single entries of which assumptions are made, besides costs: a gold price, its drift, a sale by weight."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal, get_args

from calibration.inputs import Distribution, Input
from grader.units import PricePerMass
from grader.valuation.charges import Charge, Cost, Work

_WEEKS_A_YEAR = 365.2425 / 7

What = Literal["boards", "pieces", "bodies"]
WHATS: tuple[What, ...] = get_args(What)
"""What is sold by weight: boards as they are, the pieces trimmed off them, or what is left of them then."""


@dataclass(frozen=True)
class Spot:
    """The gold price on a day.

    Attributes:
        input: price per gram of fine gold, unit "USD/g".
        on: the day it was quoted.
    """

    input: Input
    on: date

    @staticmethod
    def of(price: PricePerMass, on: date, source: str = "given") -> Spot:
        """A price as quoted."""
        known = Distribution("constant", (price.amount_per_g,))
        return Spot(Input("spot", "gold price", known, source, f"{price.currency}/g"), on)


def drift_until_sale(weeks: float, volatility: float, source: str) -> Input:
    """Gold price at the sale ÷ today's: a lognormal of mean one, for no trend is foretold.

    Args:
        weeks: until the sale.
        volatility: standard deviation of the logarithm of the price over a year.
        source: of both.
    """
    sigma = volatility * math.sqrt(weeks / _WEEKS_A_YEAR)
    known = Distribution("lognormal", (math.exp(-(sigma**2) / 2), sigma))
    return Input("drift", f"gold price at the sale, {weeks:.3g} weeks from now, compared with today's", known, source)


@dataclass(frozen=True)
class Sale:
    """Selling by weight.

    Attributes:
        name: short, for files.
        title: plain words.
        price: for what is sold, unit "USD/kg".
        share: of the boards' mass that is sold, 0..1 (trimmed pieces); None for all of it.
        costs: of this way alone (shipping out).
        hours: of one's own work for it, unit "h", at the rate of all work; None where none are stated.
        of: what is sold; None for pieces where a share is stated, for boards where none is.
    """

    name: str
    title: str
    price: Input
    share: Input | None = None
    costs: tuple[Cost, ...] = ()
    hours: Input | None = None
    of: What | None = None

    @property
    def what(self) -> What:
        """What is sold."""
        return self.of or ("boards" if self.share is None else "pieces")

    def inputs(self) -> Iterator[Input]:
        """Every input of it."""
        yield self.price
        if self.share is not None:
            yield self.share
        for cost in self.costs:
            yield from cost.inputs()
        if self.hours is not None:
            yield self.hours

    def charges(self, rate: Input | None) -> tuple[Charge, ...]:
        """What this way alone costs, with one's own time at a rate; None leaves that unpaid."""
        return self.costs if self.hours is None else (*self.costs, Work(self.hours, rate))
