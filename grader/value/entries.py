"""The single entries of which assumptions are made: a gold price, a cost, work, a settlement, a sale by weight."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Literal

from calibration.inputs import Distribution, Input
from grader.units import PricePerMass

Basis = Literal["lot", "purchase"]
_WEEKS_A_YEAR = 365.2425 / 7


@dataclass(frozen=True)
class Cost:
    """A cost that does not depend on the price: an amount, or an amount per unit × how many units.

    Attributes:
        input: the amount; its unit is the currency code, followed by what it is per ("USD", "USD/l").
        basis: once a lot that is stripped (reagents), or once a purchase, whatever is then done (shipping).
        quantity: litres, hours, kilograms or a share that the amount is multiplied by; None for once.
    """

    input: Input
    basis: Basis = "lot"
    quantity: Input | None = None

    @property
    def factors(self) -> tuple[Input, ...]:
        """What is multiplied."""
        return (self.input,) if self.quantity is None else (self.input, self.quantity)


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
class Work:
    """One's own time.

    Attributes:
        hours: of work, unit "h".
        rate: what an hour is worth to oneself, unit "USD/h"; zero leaves it unpaid.
    """

    hours: Input
    rate: Input


@dataclass(frozen=True)
class Settlement:
    """What a refiner charges for one settlement: so much per gram of gold, but no less than a minimum.

    Attributes:
        per_gram: of gold delivered, unit "USD/g".
        minimum: least charge, unit "USD".
    """

    per_gram: Input
    minimum: Input


@dataclass(frozen=True)
class Sale:
    """Selling by weight instead of stripping.

    Attributes:
        name: short, for files.
        title: plain words.
        price: for what is sold, unit "USD/kg".
        share: of the boards' mass that is sold, 0..1 (trimmed pieces); None for all of it.
        costs: of this way alone (shipping out).
        hours: of one's own work for it, unit "h", at the rate of all work; None where none are stated.
    """

    name: str
    title: str
    price: Input
    share: Input | None = None
    costs: tuple[Cost, ...] = ()
    hours: Input | None = None

    def inputs(self) -> Iterator[Input]:
        """Every input of it."""
        yield self.price
        if self.share is not None:
            yield self.share
        for cost in self.costs:
            yield from cost.factors
        if self.hours is not None:
            yield self.hours
