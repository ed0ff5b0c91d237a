"""What a valuation takes and what it gives: frozen, checked, in one currency."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from calibration.errors import UsageError
from calibration.inputs import Distribution, Input
from calibration.notices import Notice
from grader.budget import BudgetLine
from grader.model import Range
from grader.units import Money, PricePerMass, money_down
from grader.value.estimates import same_currency

Basis = Literal["lot", "purchase"]
DEFAULT_ACCEPTED_LOSS = 0.10


@dataclass(frozen=True)
class Cost:
    """A cost that does not depend on the price.

    Attributes:
        input: the amount; its unit is the currency code.
        basis: once a lot (refining, reagents) or once a purchase (shipping).
    """

    input: Input
    basis: Basis = "lot"


@dataclass(frozen=True)
class Spot:
    """The gold price on a day.

    Attributes:
        input: price per gram of fine gold, unit "USD/g"; a constant, or a distribution where its drift until the sale
            is taken into account.
        on: the day it was quoted.
    """

    input: Input
    on: date

    @staticmethod
    def of(price: PricePerMass, on: date, source: str = "given") -> Spot:
        """A price as quoted."""
        known = Distribution("constant", (price.amount_per_g,))
        return Spot(Input("spot", "gold price", known, source, f"{price.currency}/g"), on)


@dataclass(frozen=True)
class Assumptions:
    """All that turns grams of gold into money.

    What is paid for the lot is price × (1 + fee) × (1 + tax): the tax falls on price and fee. Tax on shipping belongs
    in the shipping cost.

    Attributes:
        currency: three-letter code of every amount.
        payable: share of the gold price that is paid, 0..1.
        recovery: gold recovered ÷ gold present, 0..1.
        costs: amounts that do not depend on the price.
        fee: marketplace's or buyer's fee as a share of the price, 0..1.
        tax: as a share of price and fee, 0..1.
        accepted_loss: chance of a loss that the user accepts, above 0, at most 0.5.
        spot: the gold price, or None while it has not been given.
        examples: names of the inputs that are shipped examples.

    Raises:
        UsageError: ``share-out-of-range``, ``money-negative``, ``price-not-positive``, ``currencies-differ``,
            ``accepted-loss-out-of-range``, ``cost-twice``.
    """

    currency: str
    payable: Input
    recovery: Input
    costs: tuple[Cost, ...]
    fee: Input
    tax: Input
    accepted_loss: float = DEFAULT_ACCEPTED_LOSS
    spot: Spot | None = None
    examples: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for share in (self.payable, self.recovery, self.fee, self.tax):
            low, high = support(share.distribution)
            if low < 0 or high > 1:
                raise UsageError(
                    "share-out-of-range",
                    f"The {share.title} reaches from {low:.0%} to {high:.0%}.",
                    "Give a share of 0 % to 100 %.",
                )
        for cost in self.costs:
            if support(cost.input.distribution)[0] < 0:
                raise UsageError("money-negative", f"{cost.input.title}: negative.", "Give a cost of zero or more.")
        if self.spot is not None:
            low, high = support(self.spot.input.distribution)
            if low < 0 or high <= 0:
                raise UsageError(
                    "price-not-positive", "The gold price is not above zero.", "Give today's gold price."
                )
        if not 0 < self.accepted_loss <= 0.5:
            raise UsageError(
                "accepted-loss-out-of-range",
                f"A chance of a loss of {self.accepted_loss:.0%} cannot be aimed at.",
                "Accept more than 0 % and at most 50 %.",
            )
        names = [cost.input.name for cost in self.costs]
        for name in names:
            if names.count(name) > 1:
                raise UsageError("cost-twice", f"The cost '{name}' is given twice.", "Give each cost its own name.")
        used = {cost.input.title: {cost.input.unit} for cost in self.costs}
        if self.spot is not None:
            used = {"gold price": {self.spot.input.unit.partition("/")[0]}, **used}
        same_currency({"currency": {self.currency}, **used})

    def inputs(self) -> Iterator[Input]:
        """Every input, the gold price first."""
        if self.spot is not None:
            yield self.spot.input
        yield from (self.payable, self.recovery, self.fee, self.tax)
        yield from (cost.input for cost in self.costs)

    def as_json(self) -> dict[str, Any]:
        """What was assumed, for the record."""
        return {
            "currency": self.currency,
            "spot_date": self.spot.on.isoformat() if self.spot else None,
            "accepted_loss": self.accepted_loss,
            "inputs": [{**i.as_json(), "example": i.name in self.examples} for i in self.inputs()],
            "cost_basis": {cost.input.name: cost.basis for cost in self.costs},
        }


def support(distribution: Distribution) -> tuple[float, float]:
    """Least and greatest value that a distribution can take."""
    match distribution.kind:
        case "normal":
            mean, sd = distribution.parameters
            return (mean, mean) if sd == 0 else (-math.inf, math.inf)
        case "lognormal" | "lognormal_mixture":
            return (0.0, math.inf)
        case "student_t":
            location, scale, _, reach = distribution.parameters
            return (location - reach, location + reach) if scale else (location, location)
    return min(distribution.parameters), max(distribution.parameters)


@dataclass(frozen=True)
class AtPrice:
    """What buying at a price would mean.

    Attributes:
        price: paid to the seller, before fee and tax.
        expected_profit: mean over all cases.
        chance_of_loss: 0..1.
        worst_in_twenty: profit that is undercut in one case of twenty (5 % quantile).
    """

    price: float
    expected_profit: float
    chance_of_loss: float
    worst_in_twenty: float

    def as_json(self) -> dict[str, float]:
        """The form used in reports."""
        return {
            "price": self.price,
            "expected_profit": self.expected_profit,
            "chance_of_loss": self.chance_of_loss,
            "worst_in_twenty": self.worst_in_twenty,
        }


@dataclass(frozen=True)
class Offer:
    """What to pay for a lot, and the odds. All amounts are in ``assumptions.currency``.

    Attributes:
        gold_mg: gold in the visible plating.
        proceeds: what the gold brings: gold × recovery × payable × gold price.
        costs: all costs but the price.
        break_even: price at which the expected profit is zero; 0 where it would be negative.
        highest: buying at the highest price worth paying: the one whose chance of a loss is the accepted one.
        reason: why the highest price is 0, or None where it is above.
        asking: buying at the asking price, or None where none was given.
        budget: what each input contributes to the range of the profit at ``budget_price``; swings are profits.
        budget_price: the asking price, else the highest price.
        assumptions: what was assumed.
        lot: what the lot is said to hold, part by part.
        notices: what the user should know.
        statements: what must stay in sight of every figure.
    """

    gold_mg: Range
    proceeds: Range
    costs: Range
    break_even: float
    highest: AtPrice
    reason: Notice | None
    asking: AtPrice | None
    budget: tuple[BudgetLine, ...]
    budget_price: float
    assumptions: Assumptions
    lot: tuple[Mapping[str, Any], ...]
    notices: tuple[Notice, ...]
    statements: tuple[str, ...]

    @property
    def highest_price(self) -> Money:
        """The highest price worth paying, rounded down to three digits and no finer than a hundredth."""
        return money_down(self.highest.price, self.assumptions.currency)

    def as_json(self) -> dict[str, Any]:
        """The form used in reports and in the log."""
        return {
            "schema": 1,
            "currency": self.assumptions.currency,
            "gold_mg": self.gold_mg.as_json(),
            "proceeds": self.proceeds.as_json(),
            "costs": self.costs.as_json(),
            "break_even": self.break_even,
            "highest_price": self.highest.as_json(),
            "reason": self.reason.as_json() if self.reason else None,
            "asking_price": self.asking.as_json() if self.asking else None,
            "budget": [
                {**line.as_json(), "profit_low": line.swing_low, "profit_high": line.swing_high}
                for line in self.budget
            ],
            "budget_price": self.budget_price,
            "assumptions": self.assumptions.as_json(),
            "lot": [dict(part) for part in self.lot],
            "warnings": [n.as_json() for n in self.notices],
            "statements": list(self.statements),
        }
