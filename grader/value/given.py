"""Assumptions changed by what a person types, on the command line or on the page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from calibration.errors import UsageError
from grader.units import parse_price_per_mass, parse_share
from grader.value.assumptions import cost_of, work_of
from grader.value.entries import Basis, Cost, Spot, Work
from grader.value.estimates import named, same_currency, share_estimate
from grader.value.given_sales import SaleTexts, given_drift, given_sales, given_settlement
from grader.value.model import Assumptions

_GIVEN = "given"


def with_given(
    base: Assumptions,
    *,
    spot: str | None = None,
    spot_date: date | None = None,
    payable: str | None = None,
    recovery: str | None = None,
    costs: Sequence[str] | None = None,
    fee: str | None = None,
    tax: str | None = None,
    hours: str | None = None,
    rate: str | None = None,
    accepted_loss: str | None = None,
    weeks: str | None = None,
    per_gram: str | None = None,
    minimum: str | None = None,
    sales: Mapping[str, SaleTexts] | None = None,
) -> Assumptions:
    """The base with some entries replaced; what is None stays.

    Args:
        base: from a file, or the shipped examples.
        spot: gold price, "2650 USD/ozt".
        spot_date: the day it was quoted; both or neither.
        payable: estimate of a share, "93 %" or "85..98 %".
        recovery: likewise.
        costs: amounts "12 USD", named ones "refining = 5..20..60 USD", or by quantity "disposal = 5 USD/l x 2..4 l",
            each once a lot that is stripped, or after "purchase:" whatever is then done with it. They take the place
            of all costs of the base.
        fee: share of the price.
        tax: share of price and fee.
        hours: own hours for stripping, "2..4 h".
        rate: what an own hour is worth, "15 USD/h".
        accepted_loss: chance of a loss that is accepted.
        weeks: until the gold is sold, "6 weeks".
        per_gram: refiner's charge per gram of gold, "0.5..1 USD".
        minimum: refiner's least charge, "50..150 USD". With either, the example cost of refining is left out.
        sales: by weight, by name ("trim", "whole").

    Raises:
        UsageError: an entry cannot be read (the message names it); ``spot-date-missing`` or ``spot-missing`` for one
            without the other; ``example-costs-currency`` where example costs meet a price in another currency; or as
            ``Assumptions``.
    """
    shares = {"payable": payable, "recovery": recovery, "fee": fee, "tax": tax}
    replaced = {
        key: replace(getattr(base, key), distribution=named(key, share_estimate, text), source=_GIVEN)
        for key, text in shares.items()
        if text is not None
    }
    settled = per_gram is not None or minimum is not None
    if settled and costs is None:
        base = _without_example(base, "refining")
    own_costs = base.costs if costs is None else tuple(_cost(text, n) for n, text in enumerate(costs, start=1))
    price = _spot(spot, spot_date) or base.spot
    kept = base.examples - set(replaced)
    if costs is not None:
        kept -= {f.name for c in base.costs for f in c.factors}
    currency = _currency(base, price, own_costs, costs_given=costs is not None)
    if currency != base.currency:
        # amounts of the examples in another currency say nothing here
        base = replace(base, costs=(), spot=None, settlement=None, work=None, sales=(), currency=currency)
    work = _work(base, hours, rate, currency)
    if work is not base.work and work is not None:
        kept -= {i.name for i, text in ((work.hours, hours), (work.rate, rate)) if text is not None}
    settlement = given_settlement(base.settlement, per_gram, minimum, currency)
    typed = {name: texts for name, texts in (sales or {}).items() if texts != SaleTexts()}
    by_weight = given_sales(base.sales, typed)
    for sale in by_weight:
        texts = typed.get(sale.name, SaleTexts())
        kept -= {i.name for i, text in ((sale.price, texts.price), (sale.share, texts.share)) if i and text}
    drift, until_sale = given_drift(base, weeks)
    return replace(
        base,
        costs=own_costs,
        spot=price,
        work=work,
        settlement=settlement,
        sales=by_weight,
        drift=drift,
        weeks=until_sale,
        currency=currency,
        accepted_loss=base.accepted_loss if accepted_loss is None else named("loss", parse_share, accepted_loss),
        examples=frozenset(kept),
        **replaced,
    )


def _without_example(base: Assumptions, key: str) -> Assumptions:
    """The base without the example cost that what was typed takes the place of."""
    left = tuple(c for c in base.costs if c.input.of != (key,) or c.input.name not in base.examples)
    return replace(base, costs=left, examples=base.examples & _names(replace(base, costs=left)))


def _names(assumptions: Assumptions) -> frozenset[str]:
    return frozenset(i.name for i in assumptions.inputs())


def _spot(spot: str | None, spot_date: date | None) -> Spot | None:
    if spot is None:
        if spot_date is not None:
            raise UsageError("spot-missing", "A date was given, but no gold price.", "Give both.")
        return None
    price = named("gold price", parse_price_per_mass, spot)
    if spot_date is None:
        raise UsageError(
            "spot-date-missing", "The gold price has no date.", "Say of which day it is, such as 2026-11-20."
        )
    return Spot.of(price, spot_date, _GIVEN)


def _cost(text: str, number: int) -> Cost:
    """One cost from "12 USD" or "refining = 12 USD"."""
    label, equals, amount = (part.strip() for part in text.rpartition("="))
    if equals and not label:
        raise UsageError("cost-unnamed", f"The cost '{text}' has no name.", "Write it as: refining = 20 USD.")
    purchase, colon, rest = label.partition(":")
    basis: Basis = "purchase" if colon and purchase.strip().lower() == "purchase" else "lot"
    title = (rest.strip() if basis == "purchase" else label) or f"cost {number}"
    slug = re.sub(r"\W+", "-", title.lower()).strip("-")
    each, _, quantity = re.sub(r"\s[x×]\s", "×", amount).partition("×")
    return named(title, lambda text: cost_of((slug,), title, text, quantity.strip(), _GIVEN, basis), each.strip())


def _work(base: Assumptions, hours: str | None, rate: str | None, currency: str) -> Work | None:
    """Own time with what was typed in its place."""
    known = base.work
    if hours is None and rate is None:
        return known
    typed = named("own time", lambda text: work_of(text, rate or f"0 {currency}/h", _GIVEN), hours or "0 h")
    if known is None:
        return typed
    return Work(typed.hours if hours is not None else known.hours, typed.rate if rate is not None else known.rate)


def _currency(base: Assumptions, spot: Spot | None, costs: tuple[Cost, ...], *, costs_given: bool) -> str:
    """The currency of it all. A person's own file has said it; the examples give way to what was typed."""
    if not base.examples:
        return base.currency
    used = {c.input.title: {c.input.unit.partition("/")[0]} for c in costs}
    if spot is not None:
        typed = spot.input.unit.partition("/")[0]
        if not costs_given and {typed} != {c.input.unit.partition("/")[0] for c in costs} | {typed}:
            raise UsageError(
                "example-costs-currency",
                f"The gold price is in {typed}, but the example costs are in {base.currency}.",
                f"Give your own costs in {typed} (--cost '12 {typed}', or --cost '0 {typed}' for none).",
            )
        used = {"gold price": {typed}, **used}
    return same_currency(used) if used else base.currency
