"""An offer as text for a person: plain words, few digits, the cautions always in sight."""

from __future__ import annotations

from collections.abc import Sequence

from rich.markup import escape

from grader.cli.output import out, show_notice, show_table
from grader.units import format_money, format_share
from grader.value import Offer
from grader.value.words import (
    CURVE_COLUMNS,
    LOT_COLUMNS,
    ROUTE_COLUMNS,
    Lines,
    assumed_lines,
    at_price,
    at_price_lines,
    break_even_words,
    budget_lines,
    curve_rows,
    highest_words,
    lot_rows,
    question_rows,
    route_rows,
    routes_heading,
    summary_lines,
)


def show_offer(offer: Offer) -> None:
    """Print an offer."""
    risk = format_share(offer.assumptions.accepted_loss)
    out.print(f"[bold]Highest price worth paying: {highest_words(offer)}[/] (you accept a {risk} chance of a loss)")
    if offer.reason is not None:
        show_notice(offer.reason)
    _show_rows("The lot", LOT_COLUMNS, lot_rows(offer))
    out.print()
    _show_lines([*summary_lines(offer), ("Break-even price (no profit on average)", break_even_words(offer))])
    shown = at_price(offer)
    if shown is not None:
        title, at = shown
        out.print()
        out.print(f"[bold]{escape(title)}[/]")
        _show_lines(at_price_lines(at, offer), indent="  ")
    _show_rows(routes_heading(offer), ROUTE_COLUMNS, route_rows(offer))
    _show_budget(offer)
    _show_rows("Profit against price", CURVE_COLUMNS, curve_rows(offer))
    _show_rows("Worth asking before you buy", ("", ""), question_rows(offer))
    out.print()
    out.print("[bold]Assumed[/]")
    _show_lines(assumed_lines(offer), indent="  ")
    for item in offer.notices:
        out.print()
        show_notice(item)
    out.print()
    for statement in offer.statements:
        out.print(escape(statement))


def _show_lines(lines: Lines, indent: str = "") -> None:
    show_table(("", ""), lines, indent=indent)


def _show_rows(
    heading: str, columns: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = ()
) -> None:
    """A heading and a table; nothing where there are no rows."""
    if not rows:
        return
    out.print()
    out.print(f"[bold]{escape(heading)}[/]")
    show_table(columns, rows, indent="  ", right=right)


def _show_budget(offer: Offer) -> None:
    price = format_money(offer.budget_price, offer.assumptions.currency)
    rows = [(title, format_share(share), swing) for title, share, swing in budget_lines(offer)]
    columns = ("Input", "Share", "Profit, from its low to its high end")
    _show_rows(f"What moves the profit most (at {price})", columns, rows, right=(1,))
