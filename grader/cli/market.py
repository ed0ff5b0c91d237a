"""``grader market``: many listings measured, valued and ranked."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
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
from grader.units import parse_money
from grader.units.estimates import named
from grader.valuation import Assumptions

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
    at = Market(listings, request, results or f"{source.rstrip('/')}-results", form.value)
    with nullcontext() if cluster is None else connected(cluster, workers) as client, _bar(at.picture_count) as told:
        content = at.measure(client, told)
    found = at.ranked(content, figures, options.bench())
    if money is not None:
        found = spread(found, money, figures.accepted_loss)
    _write(found, csv_out, json_out, html)


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
    out.print("\nVisible plating only. A range is not a promise: see each listing by itself before you bid.")
