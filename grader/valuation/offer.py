"""From gold with a range to the most to pay, and the odds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import UsageError
from calibration.inputs import DEFAULT_SEED
from calibration.notices import Notice
from grader.budget import budget
from grader.choices import Choice
from grader.model import ProductModel, Range
from grader.units import AskingPrice, LotSize, Money, format_share
from grader.valuation.asked import total_asked
from grader.valuation.bench import Bench
from grader.valuation.books import Bookkeeper, all_values, spot_of
from grader.valuation.economics import REL_ROUNDING, VALUATION_DRAWS
from grader.valuation.entries import Spot
from grader.valuation.information import questions
from grader.valuation.learned import recovery_once
from grader.valuation.model import Assumptions, Offer
from grader.valuation.notices import STATEMENTS, notice
from grader.valuation.outcomes import OverMany
from grader.valuation.portions import Portion, known_of, total_mass_g
from grader.valuation.routes import Way, best_of, compare_routes, ways_of
from grader.valuation.rules import ByGains
from grader.valuation.sold_as_planned import sold_as_planned

STALE_AFTER_DAYS = 7


def value_lot(
    gold_mg: ProductModel,
    assumptions: Assumptions,
    *,
    today: date,
    mass_g: ProductModel | None = None,
    boards: float | None = None,
    portions: Sequence[Portion] = (),
    bench: Bench | None = None,
    asking_price: Money | AskingPrice | None = None,
    purchases: int = 1,
    notices: tuple[Notice, ...] = (),
    lot: Sequence[Mapping[str, Any]] = (),
    choices: Sequence[Choice] = (),
    draws: int = VALUATION_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Offer:
    """Work out what to pay for a lot, and what an asking price would mean.

    Args:
        gold_mg: gold in the lot's visible plating.
        assumptions: with a gold price.
        today: the day of the valuation, to tell how old the gold price is.
        mass_g: of the lot's boards; without it nothing can be said of selling by weight.
        boards: how many there are likely to be, for prices by the board.
        portions: into which the lot could be sorted; together they are the lot. None if all is dealt with alike.
        bench: that plans the work on the boards, where enough is known of all portions; None for no plan.
        asking_price: of the seller, before fee and tax: for the lot, by weight or by the board.
        purchases: how many buys the lot takes.
        notices: of the lot and its measurements, handed on.
        lot: what the lot is said to hold, for the record.
        choices: what is not known of it and has a few answers.
        draws: number of draws.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``; ``spot-date-future``; ``currencies-differ`` or ``money-negative`` for the
            asking price; ``asking-mass-unknown`` or ``asking-boards-unknown`` where it is by what is not known;
            ``thickness-mixed``, ``beliefs-mixed``.
        DataFileError: a measurement and the assumptions mean different things by one input.
    """
    spot = spot_of(assumptions)
    held = tuple(portions) or (Portion("the boards", gold_mg, mass_g),)
    mass_g = total_mass_g(held)
    bench = bench if all(p.can_be_planned for p in held) else None
    models = [gold_mg, *(m for p in held for m in p.models())]
    assumptions = recovery_once(assumptions if bench is None else assumptions.with_plan(), gold_mg)
    planned = () if bench is None else tuple(bench.inputs())
    if bench is not None:
        assumptions = sold_as_planned(assumptions, bench, held)
    own = [*_spot_notices(spot, today), *_example_notices(assumptions)]
    values = all_values(models, assumptions, draws, seed, planned)
    size = LotSize(None if mass_g is None else _median(mass_g.evaluate(values, draws)) * 1e-3, boards)
    asking = None if asking_price is None else _for_the_lot(asking_price, size, assumptions)

    ways = ways_of(Bookkeeper(assumptions, values, draws, purchases, bench), held)
    rule = assumptions.rule
    best = best_of(ways, rule)
    money = best.money
    at_risk, break_even = rule.price(money), money.break_even()
    if assumptions.earlier_bids is not None:
        own.append(_over_many(assumptions, assumptions.earlier_bids))
        at_risk = min(at_risk, break_even)
    highest = money.at(max(at_risk, 0.0))
    accepted = format_share(assumptions.accepted_here)
    reason = None
    if at_risk <= 0 and isinstance(rule, ByGains):
        reason = notice("gifts-lose-more", share=format_share(rule.share), way=best.title)
    elif at_risk <= 0:
        code = "even-a-gift-loses" if len(ways) == 1 else "even-a-gift-loses-every-way"
        chance = format_share(highest.chance_of_loss)
        reason = notice(code, chance=chance, accepted=accepted, **({} if len(ways) == 1 else {"way": best.title}))
    elif at_risk > break_even * (1 + REL_ROUNDING):
        own.append(notice("price-above-break-even", accepted=accepted))
    # With the measurement's number of draws, so that its figures come back unchanged.
    gold = np.maximum(gold_mg.draws(seed=seed), 0.0)
    if not gold.any():
        own.insert(0, notice("no-gold-seen"))
    if assumptions.sales and mass_g is None:
        own.append(notice("mass-unknown"))

    known = known_of(held, planned=bench is not None)
    left_out = ", ".join(c.input.title for c in assumptions.costs if c.not_counted(known))
    if left_out:
        own.append(notice("cost-not-counted", costs=left_out))

    shown_price = highest.price if asking is None else asking
    inputs = {i.name: i for i in (*(i for m in models for i in m.inputs.values()), *assumptions.inputs(), *planned)}
    return Offer(
        route=best.name,
        gold_mg=Range.of(gold),
        proceeds=Range.of(money.proceeds),
        costs=Range.of(money.costs),
        own_time=Range.of(money.own_time),
        break_even=max(break_even, 0.0),
        highest=highest,
        over_many=_over_many_lots(ways, assumptions.over_many),
        reason=reason,
        asking=None if asking is None else money.at(asking),
        asked=asking_price if isinstance(asking_price, AskingPrice) and asking_price.per != "lot" else None,
        routes=compare_routes(ways, rule, shown_price),
        budget=budget(best.books.profit(shown_price), draws, seed),
        budget_price=shown_price,
        curve=money.curve(shown_price),
        questions=questions([w.money.profit(shown_price) for w in ways], inputs.values(), values, lot, choices),
        assumptions=assumptions,
        lot=tuple(lot),
        size=size,
        notices=(*own, *notices),
        statements=STATEMENTS,
        bench=planned,
    )


def _over_many_lots(ways: Sequence[Way], rule: ByGains) -> OverMany:
    best = best_of(ways, rule)
    return OverMany(rule.share, best.name, best.title, best.money.at(max(rule.price(best.money), 0.0)))


def _over_many(assumptions: Assumptions, earlier: Sequence[float]) -> Notice:
    return notice(
        "accepted-over-many-lots",
        accepted=format_share(assumptions.accepted_loss),
        count=len(earlier) + 1,
        carried=format_share(sum(earlier)),
        allowed=format_share(assumptions.accepted_loss * (len(earlier) + 1)),
        here=format_share(assumptions.accepted_here),
    )


def _median(draws: FloatArray) -> float:
    return float(np.median(draws))


def _for_the_lot(asked: Money | AskingPrice, size: LotSize, assumptions: Assumptions) -> float:
    """The seller's price for the whole lot."""
    price = asked if isinstance(asked, AskingPrice) else AskingPrice(asked, "lot")
    if price.amount.currency != assumptions.currency:
        raise UsageError(
            "currencies-differ",
            f"The asking price is in {price.amount.currency}, everything else in {assumptions.currency}.",
            "Give all amounts in one currency; none is converted here.",
        )
    if not price.amount.amount >= 0:
        raise UsageError("money-negative", "The asking price is negative.", "Give a price of zero or more.")
    return total_asked(price, size)


def _spot_notices(spot: Spot, today: date) -> list[Notice]:
    age = (today - spot.on).days
    # One day of grace: it is already tomorrow in another time zone.
    if age < -1:
        raise UsageError(
            "spot-date-future", f"The gold price is dated {spot.on}, which is in the future.", "Check the date."
        )
    return [notice("spot-stale", date=spot.on, days=age)] if age > STALE_AFTER_DAYS else []


def _example_notices(assumptions: Assumptions) -> list[Notice]:
    count = sum(i.name in assumptions.examples for i in assumptions.inputs())
    found = [notice("example-assumptions", count=count)] if count else []
    rate = assumptions.exchange
    return found if rate is None or not count else [*found, notice("examples-carried-over", of=rate.of, rate=rate)]
