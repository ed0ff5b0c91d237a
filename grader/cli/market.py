"""``grader market``: many listings measured, valued and ranked."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape
from rich.progress import Progress

from calibration.errors import UsageError
from grader.cli.options import with_options
from grader.cli.output import err, is_stdout, json_line, out, show_table, write_data, write_whole
from grader.cli.value_options import ValueOptions
from grader.market.cluster import connected
from grader.market.listings import read_market
from grader.market.market import Market
from grader.market.page import HEADS, market_csv, market_html, table_rows
from grader.market.rank import Ranked, spread
from grader.request import Request
from grader.units import format_money, parse_money
from grader.units.estimates import named
from grader.valuation import Assumptions

_UNREAD = 10  # lines of what could not be read
_ONE_LOT = ("asking", "boards", "count", "mass", "weighed", "parts", "other_face", "listing", "postage")


class ResultForm(StrEnum):
    """What results are kept as."""

    JSONL = "jsonl"
    PARQUET = "parquet"


@with_options(ValueOptions)
def market(
    options: ValueOptions,
    source: Annotated[
        str,
        typer.Argument(
            help="A folder with a folder for each listing (pictures, and listing.txt or listing.toml), or a CSV file "
            "with the columns listing and picture. Also by URL.",
            show_default=False,
        ),
    ],
    results: Annotated[
        str | None, typer.Option(help="Folder or URL where results are kept. Default: beside the source.")
    ] = None,
    form: Annotated[ResultForm, typer.Option("--form", help="Of the results.")] = ResultForm.JSONL,
    budget: Annotated[str | None, typer.Option(help="Money for all listings together: '500 USD'.")] = None,
    cluster: Annotated[
        str | None, typer.Option(help="Work on a Dask cluster: local, or its scheduler's address (tcp://…).")
    ] = None,
    workers: Annotated[int, typer.Option(min=0, help="Of a local cluster; 0: one a core.")] = 0,
    csv_out: Annotated[Path | None, typer.Option("--csv", help="Write the ranking here.")] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write it as JSON lines (- prints them).")] = None,
    html: Annotated[Path | None, typer.Option(help="Write one page with small pictures.")] = None,
) -> None:
    """Rank many listings: bid, asking price, expected profit, chance of a loss, what to ask, why refused.

    What was measured is kept: a second run measures only new pictures. A bad picture stops nothing.

    Example: grader market listings/ --spot "2650 USD/ozt" --budget "500 USD" --html market.html

    Example: grader market s3://bucket/list.csv --results s3://bucket/results --cluster tcp://10.0.0.5:8786
    """
    _of_one_lot(options)
    figures = options.figures()
    money = None if budget is None else _budget(budget, figures)
    listings = read_market(source)
    request = Request()
    kept = results or f"{source.rstrip('/')}-results"
    at = Market(listings, request, kept, form.value)
    try:
        with (
            nullcontext() if cluster is None else connected(cluster, workers) as client,
            _bar(at.picture_count) as told,
        ):
            content = at.measure(client, told)
    except KeyboardInterrupt:
        err.print(escape(f"\nStopped. What was measured is kept in {kept}: the same command goes on from there."))
        raise
    found = at.ranked(content, figures, options.bench())
    if money is not None:
        found = spread(found, money, figures.accepted_loss)
    _write(found, csv_out, json_out, html)
    if not is_stdout(json_out):
        _say_what_else(found, budget, kept)


def _of_one_lot(options: ValueOptions) -> None:
    """Options that say what one lot holds: in a market every listing says it for itself.

    Raises:
        UsageError: ``market-option``.
    """
    given = [name for name in _ONE_LOT if getattr(options, name, None)]
    if given:
        raise UsageError(
            "market-option",
            f"--{given[0].replace('_', '-')} is of one lot, and a market has many.",
            "Say it in each listing's text.",
        )


def _budget(text: str, figures: Assumptions) -> float:
    money = named("budget", parse_money, text)
    if money.currency != figures.currency:
        raise UsageError(
            "currencies-differ",
            f"The budget is in {money.currency}, everything else in {figures.currency}.",
            "Give all amounts in one currency; none is converted here.",
        )
    return float(money.amount)


@contextmanager
def _bar(total: int) -> Iterator[Callable[[int], None]]:
    if not err.is_terminal:
        yield lambda _: None
        return
    with Progress(console=err, transient=True) as bar:
        task = bar.add_task("pictures", total=total)
        yield lambda done: bar.advance(task, done)


def _write(found: list[Ranked], csv_out: Path | None, json_out: Path | None, html: Path | None) -> None:
    if csv_out is not None:
        write_whole(csv_out, market_csv(found).encode())
    if html is not None:
        write_whole(html, market_html(found, "Listings").encode())
    lines = b"".join(json_line(one.as_json()) for one in found)
    if json_out is not None and is_stdout(json_out):
        write_data(lines.decode())
        return
    if json_out is not None:
        write_whole(json_out, lines)
    show_table(HEADS, table_rows(found), right=(1, 2, 3, 4))


def _say_what_else(found: Sequence[Ranked], budget: str | None, kept: str) -> None:
    """Say what the table has no room for: what could not be read, what the budget buys, where results are."""
    unread = [f"{one.name}: {text}" for one in found for text in one.unread]
    if unread:
        more = len(unread) - _UNREAD
        out.print("\nNot read:")
        for text in [*unread[:_UNREAD], *([f"{more} more: see --csv or --html"] if more > 0 else [])]:
            out.print(escape(f"  {text}"))
    if budget is not None:
        bought = [one for one in found if one.buy]
        what = "none of them at their asking prices"
        if bought:
            spent = sum(one.asking or 0.0 for one in bought)
            what = f"{len(bought)} of {len(found)} listings for {format_money(spent, bought[0].currency, 0.01)}"
        out.print(escape(f"\nThe budget of {budget} buys {what}."))
    out.print(escape(f"\nMeasurements are kept in {kept}; the next run measures only new pictures."))
    out.print("\nVisible plating only. A range is not a promise: see each listing by itself before you bid.")
