"""The single entries of which assumptions are made, besides costs: a gold price, its drift, a sale by weight."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal, get_args

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.units import PricePerMass, in_digits
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
    return Input("drift", _drift_title(weeks), known, source)


def drift_over(known: Input, weeks: float, other_weeks: float) -> Input:
    """The drift over another time than the weeks that it was made for, at the same volatility."""
    sigma = known.distribution.parameters[1] * math.sqrt(other_weeks / weeks)
    return replace(
        known,
        title=_drift_title(other_weeks),
        distribution=Distribution("lognormal", (math.exp(-(sigma**2) / 2), sigma)),
    )


def _drift_title(weeks: float) -> str:
    return f"gold price at the sale, {in_digits(weeks)} weeks from now, compared with today's"


def interest_input(known: Distribution, source: str) -> Input:
    """Interest a year, as a share of the money that is tied up."""
    return Input("interest", "interest a year on money tied up", known, source)


@dataclass(frozen=True)
class Interest:
    """Interest on money that is tied up: the price and the costs, from the purchase until the gold is paid.

    Simple interest: rate × time × money (textbook formula). Of what the refiner pays, a part may come later.

    Attributes:
        rate: share a year, 0..1.
        at_once: share of the gold that is paid at the settlement, 0..1.
        rest_weeks: from then until the rest is paid.
    """

    rate: Input
    at_once: float = 1.0
    rest_weeks: float = 0.0

    def years(self, weeks: float) -> float:
        """How long money is tied up, weighted by what comes when, for a settlement after so many weeks."""
        return (weeks + (1 - self.at_once) * self.rest_weeks) / _WEEKS_A_YEAR


@dataclass(frozen=True)
class Sale:
    """Selling by weight.

    Attributes:
        name: short, for files.
        title: in plain words.
        price: for what is sold, unit "USD/kg"; None if pieces are paid by their gold.
        share: of the boards' mass that is sold, 0..1 (trimmed pieces); None for all of it.
        costs: of this way alone (shipping out).
        hours: of one's own work for it, unit "h", at the rate of all work; None if none are stated.
        pays: share of the worth of their gold that is paid for pieces, 0..1; None if they are paid by weight.
        planned: whether the hours of a plan of the work replace these.
        of: what is sold; None for pieces where a share is stated, for boards where none is.
    """

    name: str
    title: str
    price: Input | None
    share: Input | None = None
    costs: tuple[Cost, ...] = ()
    hours: Input | None = None
    of: What | None = None
    pays: Input | None = None
    planned: bool = False

    @property
    def what(self) -> What:
        """The goods sold."""
        return self.of or ("boards" if self.share is None else "pieces")

    def inputs(self) -> Iterator[Input]:
        """All its inputs."""
        if self.price is not None:
            yield self.price
        if self.pays is not None:
            yield self.pays
        if self.share is not None:
            yield self.share
        for cost in self.costs:
            yield from cost.inputs()
        if self.hours is not None:
            yield self.hours

    def with_plan(self) -> Sale:
        """The same for planned work: without figures that a plan replaces."""
        costs = tuple(c.with_plan() for c in self.costs)
        hours = self.hours if self.hours is None else Work(self.hours, None, self.planned).with_plan().hours
        return replace(self, costs=costs, hours=hours)

    def charges(self, rate: Input | None) -> tuple[Charge, ...]:
        """Costs of this sale alone, with own time at a rate; None leaves the time unpaid."""
        return self.costs if self.hours is None else (*self.costs, Work(self.hours, rate, self.planned))
