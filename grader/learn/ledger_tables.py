"""Profit, and offers beside what came, as tables and sentences for the command line and the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from grader.learn.ledger import Account, Amounts, Outcome, accounts, accounts_by, outcomes, ranges_held
from grader.learn.tables import share_text
from grader.log import Contents
from grader.table import Table
from grader.units import format_money, format_range, money_down

LEDGER_NOTE = (
    "Each currency is reckoned by itself. A lot that has brought nothing yet is open and in no profit of a seller or "
    "part. One without a logged price is marked: its profit lacks what was paid."
)


def ledger_tables(contents: Contents) -> tuple[Table, ...]:
    """Profit per lot, seller and part, and saved offers beside what came; a table without rows is left out."""
    each = accounts(contents)
    tables = [
        Table(
            ("", "Paid", "Costs", "Came in", "Charges", "Profit"),
            tuple((a.name, *_flows(a), _profit(a)) for a in each),
            "Profit by lot",
        ),
        *(
            Table(
                ("", "Sold", "Open", "Paid", "Costs", "Came in", "Charges", "Profit"),
                tuple((a.name, str(a.sold), str(a.open), *_flows(a), _profit(a)) for a in accounts_by(contents, by)),
                f"Profit by {by}, sold lots",
            )
            for by in ("seller", "part")
        ),
        _outcomes_table(outcomes(contents)),
    ]
    return tuple(table for table in tables if table.rows)


def held_sentences(some: Sequence[Outcome]) -> tuple[str, ...]:
    """How often the offers' ranges held what came."""
    return tuple(
        f"The range of {what} held {share.hits} of {share.cases}: {share_text(share)}; 90 % is what it promises."
        for what, share in ranges_held(some).items()
    )


def ledger_document(contents: Contents) -> dict[str, Any]:
    """The same for programs; amounts are decimal texts by currency, a profit is null while nothing was sold."""
    found = outcomes(contents)
    return {
        "accounts": [_account(a) for a in accounts(contents)],
        "accounts_by": {by: [_account(a) for a in accounts_by(contents, by)] for by in ("seller", "part")},
        "outcomes": [{**asdict(o), "proceeds_held": o.proceeds_held, "profit_held": o.profit_held} for o in found],
        "held": {what: asdict(share) for what, share in ranges_held(found).items()},
    }


def _account(a: Account) -> dict[str, Any]:
    flows = {name: _texts(getattr(a, name)) for name in ("paid", "costs", "came_in", "charges", "balance")}
    counts = {"name": a.name, "sold": a.sold, "open": a.open, "unpriced": a.unpriced}
    return {**counts, **flows, "profit": None if a.profit is None else _texts(a.profit)}


def _texts(amounts: Amounts) -> dict[str, str]:
    return {currency: format(amount, "f") for currency, amount in amounts.items()}


def _outcomes_table(some: Sequence[Outcome]) -> Table:
    return Table(
        (
            *("Lot", "Offer of", "Way", "Highest price", "Proceeds expected", "Came in", "In range"),
            *("Profit expected at the price paid", "Profit", "In range"),
        ),
        tuple(
            (
                o.lot,
                "" if o.made_on is None else o.made_on.isoformat(),
                o.way,
                "" if o.highest_price is None else str(money_down(o.highest_price, o.currency)),
                "" if o.expected is None else format_range(o.expected, o.currency),
                "" if o.came_in is None else format_money(o.came_in, o.currency),
                o.why_not or _yes_or_no(o.proceeds_held),
                "" if o.expected_profit is None else format_range(o.expected_profit, o.currency),
                "" if o.profit is None else format_money(o.profit, o.currency),
                _yes_or_no(o.profit_held),
            )
            for o in some
        ),
        "Offers saved beforehand, and what came",
    )


def _flows(a: Account) -> tuple[str, ...]:
    return tuple(_amounts(each) for each in (a.paid, a.costs, a.came_in, a.charges))


def _profit(a: Account) -> str:
    if a.profit is None:
        return "open"
    lacking = "" if not a.unpriced else f" (price not logged{f' of {a.unpriced}' if a.sold > 1 else ''})"
    return f"{_amounts(a.profit)}{lacking}"


def _amounts(amounts: Amounts) -> str:
    return "; ".join(format_money(amount, currency) for currency, amount in sorted(amounts.items()))


def _yes_or_no(told: bool | None) -> str:
    return "" if told is None else "yes" if told else "no"
