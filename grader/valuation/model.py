"""Inputs and results of a valuation: frozen, checked, in one currency."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, TypeVar

from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.notices import Notice
from grader.budget import BudgetLine
from grader.model import Range
from grader.units import AskingPrice, ExchangeRate, LotSize, Money, money_down
from grader.units.estimates import same_currency
from grader.valuation.charges import Charge, Cost, Work
from grader.valuation.entries import Interest, Sale, Spot
from grader.valuation.information import Question
from grader.valuation.many_lots import left_for_this
from grader.valuation.outcomes import AtPrice, OverMany, RouteOutcome
from grader.valuation.rules import ByChance, ByGains, Rule
from grader.valuation.settlement import Settlement

DEFAULT_ACCEPTED_LOSS = 0.10
# Of what winning lots bring, losing ones may take a third: three won for each one lost. In simulated markets a
# smaller share leaves untaught buyers little, and a greater one hardly more (docs/numbers.md).
DEFAULT_SHARE_OF_GAINS = 1 / 3

_C = TypeVar("_C", bound=Charge)


@dataclass(frozen=True)
class Assumptions:
    """Everything that turns grams of gold into money.

    What the gold brings is gold × recovery × payable × gold price × drift. What is paid for the lot is
    price × (1 + fee) × (1 + tax): the tax falls on price and fee. All other costs are charges. Tax on shipping
    belongs in the shipping cost.

    Attributes:
        currency: three-letter code of every amount.
        payable: share of the gold price that is paid, 0..1.
        recovery: gold recovered ÷ gold present, 0..1.
        charges: costs other than the price, of any kind.
        fee: marketplace's or buyer's fee as a share of the price, 0..1.
        tax: as a share of price and fee, 0..1.
        accepted_loss: chance of a loss that the user accepts, above 0, at most 0.5.
        earlier_bids: chances of a loss of this month's earlier bids, over which and this one it is accepted; None
            where it is accepted of each lot alone.
        share_of_gains: of what winning lots bring, the share that losing ones may take; the highest price then goes
            by it. None if it goes by the chance of a loss.
        spot: the gold price, or None while it has not been given.
        drift: gold price at the sale ÷ today's; None if it is sold at once.
        weeks: until the sale, for which ``drift`` was made; None if that is not known.
        weeks_after_plan: from the refined gold until the sale, where the plan of the work says how long that takes;
            None if ``weeks`` hold as they are.
        sales: ways to sell by weight instead.
        interest: on money that is tied up until the gold is paid; None if it costs nothing.
        examples: names of the inputs that are shipped examples.
        exchange: the rate at which amounts of the examples were carried over from another currency, if they were.

    Raises:
        UsageError: ``share-out-of-range``, ``money-negative``, ``price-not-positive``, ``currencies-differ``,
            ``accepted-loss-out-of-range``, ``share-of-gains-out-of-range``, ``two-rules``, ``cost-twice``.
    """

    currency: str
    payable: Input
    recovery: Input
    charges: tuple[Charge, ...]
    fee: Input
    tax: Input
    accepted_loss: float = DEFAULT_ACCEPTED_LOSS
    spot: Spot | None = None
    drift: Input | None = None
    weeks: float | None = None
    weeks_after_plan: float | None = None
    sales: tuple[Sale, ...] = ()
    interest: Interest | None = None
    examples: frozenset[str] = frozenset()
    exchange: ExchangeRate | None = None
    earlier_bids: tuple[float, ...] | None = None
    share_of_gains: float | None = None

    @property
    def accepted_here(self) -> float:
        """Chance of a loss that is accepted of this lot."""
        if self.earlier_bids is None:
            return self.accepted_loss
        return left_for_this(self.accepted_loss, self.earlier_bids)

    @property
    def rule(self) -> Rule:
        """By which a price is the highest worth paying."""
        return ByChance(self.accepted_here) if self.share_of_gains is None else ByGains(self.share_of_gains)

    @property
    def over_many(self) -> ByGains:
        """The rule for many lots, beside whichever the highest price goes by."""
        return ByGains(DEFAULT_SHARE_OF_GAINS if self.share_of_gains is None else self.share_of_gains)

    def __post_init__(self) -> None:
        for share in self._shares():
            low, high = share.distribution.support
            if low < 0 or high > 1:
                raise UsageError(
                    "share-out-of-range",
                    f"The {share.title} ranges from {low:.0%} to {high:.0%}.",
                    "Give a share of 0 % to 100 %.",
                )
        for amount in self._amounts():
            if amount.distribution.support[0] < 0:
                raise UsageError("money-negative", f"{amount.title}: the amount is negative.", "Give zero or more.")
        if self.spot is not None:
            low, high = self.spot.input.distribution.support
            if low < 0 or high <= 0:
                raise UsageError(
                    "price-not-positive", "The gold price is not above zero.", "Give today's gold price."
                )
        if not 0 < self.accepted_loss <= 0.5:
            raise UsageError(
                "accepted-loss-out-of-range",
                f"A chance of a loss of {self.accepted_loss:.0%} cannot be accepted.",
                "Accept more than 0 % and at most 50 %.",
            )
        if self.share_of_gains is not None and not 0 < self.share_of_gains <= 1:
            raise UsageError(
                "share-of-gains-out-of-range",
                f"Losses cannot take {self.share_of_gains:.0%} of the gains.",
                "Give more than 0 % and at most 100 %, which is break-even.",
            )
        if self.share_of_gains is not None and self.earlier_bids is not None:
            raise UsageError(
                "two-rules",
                "The highest price cannot go by earlier bids and by a share of the gains.",
                "Give one of the two.",
            )
        names = [i.name for i in self.inputs()]
        for name in names:
            if names.count(name) > 1:
                raise UsageError("cost-twice", f"'{name}' is given twice.", "Give each cost and sale its own name.")
        used = {i.title: {i.unit.partition("/")[0]} for i in self._money()}
        same_currency({"currency": {self.currency}, **used})

    def _shares(self) -> Iterator[Input]:
        yield from (self.payable, self.recovery, self.fee, self.tax)
        if self.interest is not None:
            yield self.interest.rate
        terms = self.settlement
        if terms is not None:
            yield from (i for i in (terms.melt_loss, *(tier.share for tier in terms.tiers)) if i is not None)
        yield from (i for s in self.sales for i in (s.share, s.pays) if i is not None)

    def _amounts(self) -> Iterator[Input]:
        """Whatever may not be negative, besides shares and the gold price."""
        known = {i.name for i in self._shares()} | ({self.spot.input.name} if self.spot else set())
        yield from (i for i in self.inputs() if i.name not in known)

    def _money(self) -> Iterator[Input]:
        """Whatever is in a currency."""
        if self.spot is not None:
            yield self.spot.input
        for charge in (*self.charges, *(c for s in self.sales for c in s.costs)):
            yield from charge.money()
        yield from (s.price for s in self.sales if s.price is not None)

    def of_kind(self, kind: type[_C]) -> tuple[_C, ...]:
        """Its charges of one kind."""
        return tuple(c for c in self.charges if isinstance(c, kind))

    @property
    def costs(self) -> tuple[Cost, ...]:
        """The plain amounts among its charges."""
        return self.of_kind(Cost)

    @property
    def work(self) -> Work | None:
        """One's own time for stripping; None if none is stated."""
        return next(iter(self.of_kind(Work)), None)

    @property
    def settlement(self) -> Settlement | None:
        """What the refiner charges; None if that is among the plain amounts."""
        return next(iter(self.of_kind(Settlement)), None)

    def with_plan(self) -> Assumptions:
        """The same where the work is planned: without figures that a plan replaces."""
        charges = tuple(c.with_plan() for c in self.charges)
        return replace(self, charges=charges, sales=tuple(s.with_plan() for s in self.sales))

    def inputs(self) -> Iterator[Input]:
        """Every input, the gold price first."""
        if self.spot is not None:
            yield self.spot.input
        if self.drift is not None:
            yield self.drift
        yield from (self.payable, self.recovery, self.fee, self.tax)
        if self.interest is not None:
            yield self.interest.rate
        for charge in self.charges:
            yield from charge.inputs()
        for sale in self.sales:
            yield from sale.inputs()

    def as_json(self) -> dict[str, Any]:
        """The assumptions as JSON, for the record."""
        return {
            "currency": self.currency,
            "spot_date": self.spot.on.isoformat() if self.spot else None,
            "accepted_loss": self.accepted_loss,
            **(
                {}
                if self.earlier_bids is None
                else {"earlier_bids": list(self.earlier_bids), "accepted_here": self.accepted_here}
            ),
            **({} if self.share_of_gains is None else {"share_of_gains": self.share_of_gains}),
            "inputs": [{**i.as_json(), "example": i.name in self.examples} for i in self.inputs()],
            "cost_basis": {cost.input.name: cost.basis for cost in self.costs},
        }


@dataclass(frozen=True)
class Offer:
    """What to pay for a lot, and the odds. All amounts are in ``assumptions.currency``.

    Attributes:
        route: name of the way to deal with the lot that the figures below are of: the one which bears the highest
            price.
        gold_mg: gold in the visible plating.
        proceeds: what that way brings.
        costs: all its costs but the price, one's own time among them.
        own_time: that part of the costs which is one's own time.
        break_even: price at which its expected profit is zero; 0 if it would be negative.
        highest: buying at the highest price worth paying, by ``assumptions.rule``. No other way bears a higher one.
        over_many: the same by the rule for many lots.
        reason: why the highest price is 0, or None if it is above.
        asking: buying at the asking price, or None if none was given.
        asked: the asking price as the seller put it, where that is not for the lot; otherwise None.
        routes: ways to deal with the lot, bought at ``budget_price``; the first is stripping, the last not to buy.
        budget: what each input contributes to the range of that way's profit at ``budget_price``; swings are profits.
        budget_price: the asking price, otherwise the highest price.
        curve: what buying at prices from zero upwards would mean.
        questions: what to find out before buying at ``budget_price`` and choosing a route, the most valuable first.
        assumptions: what was assumed.
        lot: what the lot is said to hold, part by part.
        size: of the lot, to put a price per kilogram or per board.
        notices: for the user.
        statements: what must stay in sight of every figure.
        bench: inputs of the plans that the work is charged by; none if it was not planned.
    """

    route: str
    gold_mg: Range
    proceeds: Range
    costs: Range
    own_time: Range
    break_even: float
    highest: AtPrice
    over_many: OverMany
    reason: Notice | None
    asking: AtPrice | None
    asked: AskingPrice | None
    routes: tuple[RouteOutcome, ...]
    budget: tuple[BudgetLine, ...]
    budget_price: float
    curve: tuple[AtPrice, ...]
    questions: tuple[Question, ...]
    assumptions: Assumptions
    lot: tuple[Mapping[str, Any], ...]
    size: LotSize
    notices: tuple[Notice, ...]
    statements: tuple[str, ...]
    bench: tuple[Input, ...] = ()

    @property
    def highest_price(self) -> Money:
        """The highest price worth paying, rounded down to three digits and no finer than a hundredth."""
        return money_down(self.highest.price, self.assumptions.currency)

    @property
    def way(self) -> RouteOutcome:
        """The way that the figures are of."""
        return next(r for r in self.routes if r.name == self.route)

    def as_json(self) -> dict[str, Any]:
        """The form used in reports and in the log."""
        return {
            "schema": 1,
            "currency": self.assumptions.currency,
            "gold_mg": self.gold_mg.as_json(),
            "proceeds": self.proceeds.as_json(),
            "costs": self.costs.as_json(),
            "own_time": self.own_time.as_json(),
            "break_even": self.break_even,
            "route": self.route,
            "highest_price": {
                **self.highest.as_json(),
                "route": self.route,
                "title": self.way.title,
                **self.size.each(self.highest.price),
            },
            "over_many": self.over_many.as_json(),
            "reason": self.reason.as_json() if self.reason else None,
            "asking_price": {**self.asking.as_json(), "route": self.route} if self.asking else None,
            "asked": None if self.asked is None else str(self.asked),
            "routes": [route.as_json() for route in self.routes],
            "budget": [
                {**line.as_json(), "profit_low": line.swing_low, "profit_high": line.swing_high}
                for line in self.budget
            ],
            "budget_price": self.budget_price,
            "curve": [at.as_json() for at in self.curve],
            "questions": [q.as_json() for q in self.questions],
            "assumptions": self.assumptions.as_json(),
            "bench": [i.as_json() for i in self.bench],
            "lot": [dict(part) for part in self.lot],
            "warnings": [n.as_json() for n in self.notices],
            "statements": list(self.statements),
        }
