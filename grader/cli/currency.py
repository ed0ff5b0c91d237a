"""``grader currency``: the currency that you use, and what others cost in it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated

import typer

from grader.cli.log_options import day_of
from grader.cli.output import err, out
from grader.own_money import OwnMoney, keep_own_money, load_own_money
from grader.places import assumptions_folder, own_money_path
from grader.units import in_currency, parse_exchange
from grader.units.estimates import named
from grader.valuation import Assumptions, load_set
from grader.valuation.exchange import in_own_currency
from grader.valuation.gold_price import gold_price_in_full


def currency(
    code: Annotated[str | None, typer.Argument(help="Your currency, such as EUR.", show_default=False)] = None,
    rate: Annotated[
        list[str] | None, typer.Option(help="What another currency costs: '1 USD = 0.92 EUR'. Kept with its day.")
    ] = None,
    day: Annotated[str, typer.Option("--date", help="Day of the rates: 2026-11-20, or today.")] = "today",
) -> None:
    """Say once which currency you use and what others cost in it, or show what is kept.

    The example figures are in US dollars. With a rate they carry over to your currency, and results say so. Amounts
    that you write without a currency are then in yours.

    Example: grader currency EUR --rate "1 USD = 0.92 EUR" --date 2026-11-20
    """
    money = load_own_money(own_money_path())
    if code is not None or rate:
        on = day_of(day)
        for text in rate or ():
            money = money.with_rate(parse_exchange(text, on))
        if code is not None:
            money = OwnMoney(code.strip().upper(), money.rates)
        keep_own_money(money, own_money_path())
    out.print(f"Your currency: {money.currency or 'none chosen'}", markup=False)
    for known in money.rates:
        out.print(str(known), markup=False)


def own_money(exchange: str | None = None) -> OwnMoney:
    """The saved currency and rates, with a rate for this call.

    Raises:
        UsageError: the rate cannot be read.
        DataFileError: the kept file is damaged.
    """
    kept = load_own_money(own_money_path())
    return kept if exchange is None else kept.with_rate(parse_exchange(exchange, date.today()))


def base_figures(given: str | None, money: OwnMoney, typed: Iterable[str | None] = ()) -> Assumptions:
    """A set of assumptions; the shipped examples in the typed currency, or the user's own."""
    return in_own_currency(load_set(given, assumptions_folder()), money, typed)


def gold_price(typed: str | None, assumptions: str | None, money: OwnMoney) -> str | None:
    """Complete a gold price with currency and unit, and report how it was read.

    Args:
        typed: as given.
        assumptions: the set or file whose currency is in force where the person chose none.
        money: the person's own.
    """
    if typed is None:
        return None
    currency = money.currency or load_set(assumptions, assumptions_folder()).currency
    full = named("gold price", lambda text: gold_price_in_full(text, currency), typed)
    if full.said:
        err.print(f"Gold price {full.said}.", markup=False)
    return full.text


def meant(text: str | None, money: OwnMoney) -> str | None:
    """Read an amount without a currency in the user's own."""
    return None if text is None else in_currency(text, money.currency)
