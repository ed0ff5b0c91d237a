"""An offer as text for a person: plain words, few digits, the cautions always in sight."""

from __future__ import annotations

from rich.markup import escape
from rich.table import Table

from calibration.inputs import Input
from calibration.notices import Notice
from grader.budget import TOGETHER
from grader.cli.output import out
from grader.model import Range
from grader.units import PricePerMass, format_money, format_range, format_share, money_down
from grader.value import AtPrice, Offer, Spot
from grader.value.model import support

_SHOWN_SHARE = 0.005
_MOST_LINES = 8


def show_offer(offer: Offer) -> None:
    """Print an offer."""
    currency = offer.assumptions.currency
    price = format_money(0, currency) if offer.reason else str(offer.highest_price)
    risk = format_share(offer.assumptions.accepted_loss)
    out.print(f"[bold]Highest price worth paying: {price}[/] (you accept a {risk} chance of a loss)")
    if offer.reason is not None:
        _show_notice(offer.reason)
    out.print()
    table = _table()
    table.add_row("Gold in the visible plating", format_range(offer.gold_mg, "mg"))
    table.add_row("What that gold brings", format_range(offer.proceeds, currency))
    table.add_row("Costs without the price", format_range(offer.costs, currency))
    table.add_row("Break-even price (no profit on average)", str(money_down(offer.break_even, currency)))
    out.print(table, soft_wrap=False)
    if offer.asking is not None:
        out.print()
        _show_at(offer.asking, f"At the asking price of {format_money(offer.asking.price, currency)}", offer)
    elif offer.reason is None:
        out.print()
        _show_at(offer.highest, "At the highest price worth paying", offer)
    _show_budget(offer)
    _show_assumptions(offer)
    for item in offer.notices:
        out.print()
        _show_notice(item)
    out.print()
    for statement in offer.statements:
        out.print(escape(statement))


def _table() -> Table:
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column()
    table.add_column()
    return table


def _show_notice(item: Notice) -> None:
    out.print(f"[yellow]{escape(item.message)}[/]")
    out.print(f"  → {escape(item.advice)}")


def _show_at(at: AtPrice, title: str, offer: Offer) -> None:
    currency, spread = offer.assumptions.currency, _half(offer.proceeds)
    out.print(f"[bold]{escape(title)}[/]")
    table = _table()
    table.add_row("  Expected profit", format_money(at.expected_profit, currency, spread))
    table.add_row("  Chance of a loss", format_share(at.chance_of_loss))
    table.add_row("  In one case of twenty less than", format_money(at.worst_in_twenty, currency, spread))
    out.print(table, soft_wrap=False)


def _show_budget(offer: Offer) -> None:
    lines = [b for b in offer.budget if b.share_of_variance >= _SHOWN_SHARE][:_MOST_LINES]
    if not lines:
        return
    currency, spread = offer.assumptions.currency, _half(offer.proceeds)
    out.print()
    out.print(f"[bold]What moves the profit most[/] (at {format_money(offer.budget_price, currency)})")
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    table.add_column("  Input")
    table.add_column("Share", justify="right")
    table.add_column("Profit, from its low to its high end")
    for line in lines:
        swing = ""
        if line.input != TOGETHER and line.swing_low is not None and line.swing_high is not None:
            low, high = (format_money(x, currency, spread) for x in (line.swing_low, line.swing_high))
            swing = f"{low} to {high}"
        table.add_row(f"  {escape(line.title)}", format_share(line.share_of_variance), swing)
    out.print(table, soft_wrap=False)


def _show_assumptions(offer: Offer) -> None:
    a = offer.assumptions
    out.print()
    out.print("[bold]Assumed[/]")
    table = _table()
    if a.spot is not None:
        table.add_row(f"  gold price of {a.spot.on}", f"{_between(a.spot.input)}{_per_troy_ounce(a.spot)}")
    for item in a.inputs():
        if a.spot is not None and item.name == a.spot.input.name:
            continue
        table.add_row(f"  {escape(item.title)}", _between(item) + (" (example)" if item.name in a.examples else ""))
    out.print(table, soft_wrap=False)


def _per_troy_ounce(spot: Spot) -> str:
    """The price once more in the unit that gold is quoted in, where it is one number."""
    if not spot.input.distribution.is_constant:
        return ""
    currency = spot.input.unit.partition("/")[0]
    price = PricePerMass(spot.input.distribution.parameters[0], currency)
    return f" = {price.amount_per_troy_ounce:.6g} {escape(currency)}/ozt"


def _between(item: Input) -> str:
    """The least and greatest value that were assumed, or the only one."""
    low, high = support(item.distribution)
    factor, unit, digits = (1.0, item.unit, 6) if item.unit else (100.0, "%", 4)
    ends = [f"{x * factor:.{digits}g}" for x in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {escape(unit)}"


def _half(value: Range) -> float:
    return (value.high - value.low) / 2
