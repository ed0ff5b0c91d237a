"""From gold with a range to the most to pay, and the odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED
from calibration.notices import Notice, notice
from grader.budget import budget
from grader.model import ProductModel, Range
from grader.units import Money, format_share
from grader.valuation.economics import (
    REL_ROUNDING,
    VALUATION_DRAWS,
    all_values,
    of_stripping,
    profit_model,
    spot_of,
)
from grader.valuation.entries import Spot
from grader.valuation.information import questions
from grader.valuation.learned import recovery_once
from grader.valuation.model import Assumptions, Offer
from grader.valuation.notices import STATEMENTS
from grader.valuation.routes import compare_routes, ways_of

STALE_AFTER_DAYS = 7


def value_lot(
    gold_mg: ProductModel,
    assumptions: Assumptions,
    *,
    today: date,
    mass_g: ProductModel | None = None,
    asking_price: Money | None = None,
    purchases: int = 1,
    notices: tuple[Notice, ...] = (),
    lot: Sequence[Mapping[str, Any]] = (),
    draws: int = VALUATION_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Offer:
    """What to pay for a lot, and what an asking price would mean.

    Args:
        gold_mg: gold in the lot's visible plating.
        assumptions: with a gold price.
        today: the day of the valuation, to tell how old the gold price is.
        mass_g: of the lot's boards; without it nothing can be said of selling by weight.
        asking_price: of the seller, before fee and tax.
        purchases: how many buys the lot takes.
        notices: of the lot and its measurements, handed on.
        lot: what the lot is said to hold, for the record.
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``, ``spot-date-future``, ``currencies-differ``, ``money-negative``,
            ``thickness-mixed``, ``beliefs-mixed``.
    """
    assumptions = recovery_once(assumptions, gold_mg)
    asking = None if asking_price is None else _amount(asking_price, assumptions)
    own = [*_spot_notices(spot_of(assumptions), today), *_example_notices(assumptions)]
    models = (gold_mg,) if mass_g is None else (gold_mg, mass_g)
    values = all_values(models, assumptions, draws, seed)
    money = of_stripping(gold_mg, assumptions, values, purchases)

    at_risk, break_even = money.price_at_risk(assumptions.accepted_loss), money.break_even()
    highest = money.at(max(at_risk, 0.0))
    accepted = format_share(assumptions.accepted_loss)
    reason = None
    if at_risk <= 0:
        reason = notice("even-a-gift-loses", chance=format_share(highest.chance_of_loss), accepted=accepted)
    elif at_risk > break_even * (1 + REL_ROUNDING):
        own.append(notice("price-above-break-even", accepted=accepted))
    # With the measurement's number of draws, so that its figures come back unchanged.
    gold = np.maximum(gold_mg.draws(seed=seed), 0.0)
    if not gold.any():
        own.insert(0, notice("no-gold-seen"))
    if assumptions.sales and mass_g is None:
        own.append(notice("mass-unknown"))

    shown_price = highest.price if asking is None else asking
    ways = ways_of(money, mass_g, assumptions, values, purchases)
    inputs = {i.name: i for i in (*(i for m in models for i in m.inputs.values()), *assumptions.inputs())}
    return Offer(
        gold_mg=Range.of(gold),
        proceeds=Range.of(money.proceeds),
        costs=Range.of(money.costs),
        own_time=Range.of(money.own_time),
        break_even=max(break_even, 0.0),
        highest=highest,
        reason=reason,
        asking=None if asking is None else money.at(asking),
        routes=compare_routes(ways, assumptions, shown_price),
        budget=budget(profit_model(gold_mg, assumptions, values, purchases, shown_price), draws, seed),
        budget_price=shown_price,
        curve=money.curve(shown_price),
        questions=questions([w.money.profit(shown_price) for w in ways], inputs.values(), values, lot),
        assumptions=assumptions,
        lot=tuple(lot),
        notices=(*own, *notices),
        statements=STATEMENTS,
    )


def _amount(asking_price: Money, assumptions: Assumptions) -> float:
    if asking_price.currency != assumptions.currency:
        raise UsageError(
            "currencies-differ",
            f"The asking price is in {asking_price.currency}, everything else in {assumptions.currency}.",
            "Give all amounts in one currency; none is converted here.",
        )
    if not asking_price.amount >= 0:
        raise UsageError("money-negative", "The asking price is negative.", "Give a price of zero or more.")
    return float(asking_price.amount)


def _spot_notices(spot: Spot, today: date) -> list[Notice]:
    age = (today - spot.on).days
    # One day of grace: it is already tomorrow in another time zone.
    if age < -1:
        raise UsageError("spot-date-future", f"The gold price is of {spot.on}, a day to come.", "Check the date.")
    return [notice("spot-stale", date=spot.on, days=age)] if age > STALE_AFTER_DAYS else []


def _example_notices(assumptions: Assumptions) -> list[Notice]:
    count = sum(i.name in assumptions.examples for i in assumptions.inputs())
    found = [notice("example-assumptions", count=count)] if count else []
    rate = assumptions.exchange
    return found if rate is None or not count else [*found, notice("examples-carried-over", of=rate.of, rate=rate)]
