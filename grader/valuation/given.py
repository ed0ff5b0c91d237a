"""Assumptions changed by what a person types, on the command line or on the page."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

from calibration.errors import UsageError
from grader.units import parse_price_per_mass, parse_share
from grader.units.estimates import named, same_currency, share_estimate
from grader.valuation.charges import Basis, Charge, Cost, with_charges
from grader.valuation.entries import Spot
from grader.valuation.given_interest import given_interest
from grader.valuation.given_sales import SaleTexts, given_drift, given_sales
from grader.valuation.gold_price import gold_price_in_full
from grader.valuation.kinds import KINDS, TYPED
from grader.valuation.many_lots import parse_bids
from grader.valuation.model import Assumptions
from grader.valuation.settlement import Settlement

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
    accepted_loss: str | None = None,
    weeks: str | None = None,
    earlier_bids: str | None = None,
    share_of_gains: str | None = None,
    sales: Mapping[str, SaleTexts] | None = None,
    interest: str | None = None,
    paid_at_once: str | None = None,
    rest_after: str | None = None,
    **entries: str | None,
) -> Assumptions:
    """The base with some entries replaced; what is None stays.

    Args:
        base: from a file, or the shipped examples.
        spot: gold price, "2650 USD/ozt"; what is left out is filled in as in ``gold_price``.
        spot_date: the day it was quoted; both or neither.
        payable: estimate of a share, "93 %" or "85..98 %"; or by the gold in the lot, "0 g: 85 %; 20 g: 90..93 %".
        recovery: likewise.
        costs: amounts "12 USD", named ones "refining = 5..20..60 USD", or by quantity "disposal = 5 USD/l x 2..4 l",
            each once a lot that is stripped, or after "purchase:" whatever is then done with it. They take the place
            of all costs of the base.
        fee: share of the price.
        tax: share of price and fee.
        accepted_loss: chance of a loss that is accepted.
        weeks: until the gold is sold, "6 weeks".
        earlier_bids: chances of a loss of this month's earlier bids, "2 %, 15 %"; empty for none yet.
        share_of_gains: that losing lots may take of what winning ones bring, "25 %"; the highest price goes by it.
        sales: by weight, by name ("trim", "whole").
        interest: a year on money that is tied up until the gold is paid, "8 %".
        paid_at_once: share of the gold that is paid at the settlement, "70 %".
        rest_after: from then until the rest is paid, "4 weeks".
        entries: of other charges, by the names in ``kinds.TYPED``: ``hours`` "2..4 h" and ``rate`` "15 USD/h" of
            own work, ``per_gram`` "0.5..1 USD", ``minimum`` "50..150 USD" and other terms of a refiner. Each takes
            the place of that entry of the base; example costs that the charge replaces are left out
            (``Charge.replaces``).

    Raises:
        UsageError: an entry cannot be read (the message names it); ``spot-date-missing`` or ``spot-missing`` for one
            without the other; ``example-costs-currency`` where example costs meet a price in another currency; or as
            ``Assumptions``.
    """
    by_size = payable is not None and ":" in payable
    shares = {"payable": None if by_size else payable, "recovery": recovery, "fee": fee, "tax": tax}
    replaced = {
        key: replace(getattr(base, key), distribution=named(key, share_estimate, text), source=_GIVEN)
        for key, text in shares.items()
        if text is not None
    }
    typed = _by_kind(entries)
    if payable is not None and (by_size or (base.settlement is not None and base.settlement.tiers)):
        typed.setdefault(Settlement, {})["tiers"] = payable if by_size else ""
    charges = _with_costs(base, costs, typed)
    price = _spot(spot, spot_date, base.currency) or base.spot
    plain = tuple(c for c in charges if isinstance(c, Cost))
    currency = _currency(base, price, plain, costs_given=costs is not None)
    if currency != base.currency:
        # amounts of the examples in another currency say nothing here
        base, charges = replace(base, charges=(), spot=None, sales=(), currency=currency), plain
    known = {c.key: c for c in charges}
    own = (kind.given(known.get(kind.table), texts, _GIVEN, currency) for kind, texts in typed.items())
    drift, until_sale = given_drift(base, weeks)
    made = replace(
        base,
        charges=with_charges(charges, *own),
        spot=price,
        interest=given_interest(base.interest, interest, paid_at_once, rest_after),
        sales=given_sales(base.sales, {name: t for name, t in (sales or {}).items() if t != SaleTexts()}),
        drift=drift,
        weeks=until_sale,
        weeks_after_plan=base.weeks_after_plan if weeks is None else None,
        accepted_loss=base.accepted_loss if accepted_loss is None else named("loss", parse_share, accepted_loss),
        earlier_bids=base.earlier_bids if earlier_bids is None else named("earlier bids", parse_bids, earlier_bids),
        share_of_gains=(
            base.share_of_gains if share_of_gains is None else named("share of gains", parse_share, share_of_gains)
        ),
        **replaced,
    )
    return replace(made, examples=_still_examples(made, base))


def _by_kind(entries: Mapping[str, str | None]) -> dict[type[Charge], dict[str, str]]:
    """The entries that were typed, by the kind of charge, in the order in which kinds are charged."""
    unknown = set(entries) - set(TYPED)
    if unknown:
        raise TypeError(f"with_given() got unexpected keyword arguments {sorted(unknown)}")
    given = {name: text for name, text in entries.items() if text is not None}
    found = {kind: {name: given[name] for name in kind.entries if name in given} for kind in KINDS}
    return {kind: texts for kind, texts in found.items() if texts}


def _with_costs(
    base: Assumptions, costs: Sequence[str] | None, typed: Mapping[type[Charge], Mapping[str, str]]
) -> tuple[Charge, ...]:
    """The base's charges with the plain costs that were typed, or without the examples that others stand for."""
    if costs is not None:
        own = (_cost(text, n) for n, text in enumerate(costs, start=1))
        return (*own, *(c for c in base.charges if not isinstance(c, Cost)))
    replaced = {key for kind, texts in typed.items() for key in kind.replaces(texts)}
    return tuple(c for c in base.charges if c.key not in replaced or not {i.name for i in c.inputs()} & base.examples)


def _still_examples(made: Assumptions, base: Assumptions) -> frozenset[str]:
    """Names of the inputs that are examples as before; over other weeks the drift keeps the example's volatility."""
    before = set(base.inputs())
    return frozenset(i.name for i in made.inputs() if i.name in base.examples and (i in before or i is made.drift))


def _spot(spot: str | None, spot_date: date | None, currency: str) -> Spot | None:
    if spot is None:
        if spot_date is not None:
            raise UsageError(
                "spot-missing",
                "A date was given, but no gold price.",
                "Look up the day's price and give it with its date.",
            )
        return None
    full = named("gold price", lambda text: gold_price_in_full(text, currency), spot)
    price = named("gold price", parse_price_per_mass, full.text)
    if spot_date is None:
        raise UsageError(
            "spot-date-missing", "The gold price has no date.", "Give the day of the price, such as 2026-11-20."
        )
    return Spot.of(price, spot_date, f"{_GIVEN}; {full.said}" if full.said else _GIVEN)


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
    return named(title, lambda text: Cost.of((slug,), title, text, quantity.strip(), _GIVEN, basis), each.strip())


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
                f"Say once what one {base.currency} costs in {typed}, and the examples carry over. Or give your own "
                f"costs in {typed}, or a cost of zero for none.",
                values={"currency": typed, "of": base.currency},
            )
        used = {"gold price": {typed}, **used}
    return same_currency(used) if used else base.currency
