"""``grader log``: keep what was measured, paid and recovered."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.errors import UsageError
from grader.cli.log_options import (
    JsonFlag,
    LogOption,
    LotArgument,
    WhoOption,
    day_of,
    existing_log,
    number_or_name,
    opened_log,
    say_line,
)
from grader.cli.log_report import show_contents, show_lots
from grader.cli.output import write_data, write_whole
from grader.cli.questions import YesOption, ask_first
from grader.learn import newest_in
from grader.learn.questions import Asker
from grader.log import TABLES, NewLot, NewYield, TableName, checked, photo_of, to_csv, to_json
from grader.measured import documents_in, measurements_of
from grader.units import format_mass, in_digits, parse_fineness, parse_weighed_mg

if TYPE_CHECKING:
    from grader.log import Log

log_app = typer.Typer(
    name="log",
    help="Keep lots: what was measured, what was paid, what came out.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)


class ExportFormat(StrEnum):
    """What the whole log can be written as."""

    JSON = "json"
    CSV = "csv"


class FinenessChoice(StrEnum):
    """How a fineness is known."""

    FOUND = "found"
    ASSUMED = "assumed"
    ASSAYED = "assayed"


@log_app.command("list")
def list_(log: LogOption = None, json: JsonFlag = False) -> None:
    """All lots, each with how much is known of it.

    Example: grader log list
    """
    contents = existing_log(log).contents()
    if json:
        # The heavy documents are for show and export.
        write_data(to_json(replace(contents, photos=(), estimates=(), offers=(), beliefs=())))
    else:
        show_lots(contents)


@log_app.command()
def show(lot: LotArgument, log: LogOption = None, json: JsonFlag = False) -> None:
    """All that was logged of one lot.

    Example: grader log show "attic lot"
    """
    contents = existing_log(log).entries(number_or_name(lot))
    if json:
        write_data(to_json(contents))
    else:
        show_contents(contents)


@log_app.command()
def new(
    lot: Annotated[str, typer.Argument(help="A name for the lot.", show_default=False)],
    seller: Annotated[str, typer.Option(help="Who sells it, as you like to write it.")] = "",
    part: Annotated[str, typer.Option(help="Kind of boards, such as 'memory strips'. Learning is by kind.")] = "",
    note: Annotated[str, typer.Option(help="Anything worth keeping.")] = "",
    log: LogOption = None,
) -> None:
    """Start a lot. The log itself is started with the first one.

    Example: grader log new "attic lot" --seller "clear-out sale"
    """
    entry = checked(NewLot, name=lot, seller=seller, part=part, note=note)
    started = opened_log(log).add_lot(entry)
    say_line(f"Lot {started.id}, {started.name}, is in the log.")


@log_app.command()
def add(
    lot: LotArgument,
    measurements: Annotated[
        list[Path], typer.Argument(help="Files that grader measure --json wrote.", show_default=False)
    ],
    log: LogOption = None,
) -> None:
    """Log measurements as they were made: all of the files, or none.

    Example: grader log add "attic lot" boards.json
    """
    documents = [(path.name, document) for path in measurements for document in documents_in(path)]
    measurements_of(documents)  # refuses what holds no gold estimate, and a photo given twice
    kept = existing_log(log).add_estimates(number_or_name(lot), [(photo_of(d), d) for _, d in documents])
    say_line(f"{len(kept)} {'estimate' if len(kept) == 1 else 'estimates'} logged for {lot}.")


UncertaintyOption = Annotated[str | None, typer.Option(help="Standard uncertainty of that mass: '0.01 g'.")]
FinenessOption = Annotated[str | None, typer.Option(help="Share of gold in it: '995', '0.995' or '99.5 %'.")]
KnownOption = Annotated[FinenessChoice, typer.Option("--fineness-known", help="How the fineness is known.")]
CarriedOption = Annotated[str | None, typer.Option(help="Fine gold in it from elsewhere: '12 mg'.")]
LostOption = Annotated[str | None, typer.Option(help="Fine gold lost by accident or left behind: '12 mg'.")]


@log_app.command("yield")
def yield_(
    lot: LotArgument,
    mass: Annotated[str, typer.Option(help="Gold as weighed: '1.25 g', '8 dwt'; '0 g' if none.", show_default=False)],
    uncertainty: UncertaintyOption = None,
    fineness: FinenessOption = None,
    known: KnownOption = FinenessChoice.ASSUMED,
    copies: Annotated[float, typer.Option(help="How many sets of the photographed boards went in.")] = 1.0,
    also: Annotated[
        list[str] | None, typer.Option(help="Another lot that went in: 'LOT' or 'LOT=2' for twice its boards.")
    ] = None,
    carried_in: CarriedOption = None,
    lost: LostOption = None,
    note: Annotated[str, typer.Option(help="Anything worth keeping.")] = "",
    day: Annotated[str | None, typer.Option("--date", help="Day of weighing: 2026-11-20. Default: today.")] = None,
    who: WhoOption = "",
    yes: YesOption = False,
    log: LogOption = None,
) -> None:
    """Log gold that was weighed at the end. A mass far from the estimate is questioned first.

    Example: grader log yield shoebox --mass "0.02 g" --uncertainty "1 mg"
    """
    entry = yield_entry(mass, uncertainty, fineness, known, carried_in, lost, note, day_of(day), who)
    lots = {number_or_name(lot): copies, **dict(lot_copies(text) for text in also or ())}
    opened = existing_log(log)
    by_number = {opened.lot(each).id: times for each, times in lots.items()}
    ask_first(Asker(opened.contents(), date.today()).of_yield(entry, by_number), yes=yes)
    kept = opened.add_yield(number_or_name(lot), entry, lots)
    say_line(f"Yield {kept.id}, {format_mass(entry.mass_mg)} from {lot}, logged.")
    found = newest_in(opened)
    for flag in () if found is None else found.flags():
        if flag.yield_id == kept.id:
            say_line(
                f"It is {in_digits(flag.ratio)} times what all other yields led to expect. What may have happened:"
            )
            for reason in flag.reasons:
                say_line(f"  {reason}")


def yield_entry(
    mass: str,
    uncertainty: str | None,
    fineness: str | None,
    known: FinenessChoice,
    carried_in: str | None,
    lost: str | None,
    note: str,
    day: date,
    who: str,
) -> NewYield:
    """A yield from what was typed."""
    return checked(
        NewYield,
        mass_mg=parse_weighed_mg(mass),
        uncertainty_mg=None if uncertainty is None else parse_weighed_mg(uncertainty),
        fineness=None if fineness is None else parse_fineness(fineness),
        fineness_known=None if fineness is None else known.value,
        carried_in_mg=0.0 if carried_in is None else parse_weighed_mg(carried_in),
        lost_mg=0.0 if lost is None else parse_weighed_mg(lost),
        note=note,
        weighed_on=day,
        who=who,
    )


def lot_copies(text: str) -> tuple[int | str, float]:
    """A lot and how many times its photographed boards: 'LOT' or 'LOT=2'.

    Raises:
        UsageError: ``copies-invalid``.
    """
    name, equals, number = text.rpartition("=")
    try:
        return (number_or_name(name), float(number)) if equals else (number_or_name(text), 1.0)
    except ValueError as error:
        raise UsageError(
            "copies-invalid", f"'{text}' is not a lot with a number.", "Write it as LOT=2, or LOT alone."
        ) from error


@log_app.command()
def export(
    form: Annotated[ExportFormat, typer.Option("--format", help="json: everything; csv: one table.")] = (
        ExportFormat.JSON
    ),
    table: Annotated[str | None, typer.Option(help=f"For csv: {', '.join(TABLES)}.")] = None,
    output: Annotated[Path | None, typer.Option(help="The file to write. Default: the terminal.")] = None,
    log: LogOption = None,
) -> None:
    """Write the log out for other programs.

    Example: grader log export --format csv --table lots --output lots.csv
    """
    write = _export_of(form, table)
    opened = existing_log(log)
    text = write(opened)
    if output is None:
        write_data(text)
    else:
        write_whole(output, text.encode())
        say_line(f"{output} written.")


def _export_of(form: ExportFormat, table: str | None) -> Callable[[Log], str]:
    if form is ExportFormat.JSON:
        if table is not None:
            raise UsageError(
                "table-not-for-json", "JSON holds all tables.", "Leave --table out, or use --format csv."
            )
        return lambda log: to_json(log.contents())
    chosen: TableName | None = next((name for name in TABLES if name == table), None)
    if chosen is None:
        raise UsageError(
            "table-unknown",
            "CSV holds one table, and none was chosen." if table is None else f"There is no table '{table}'.",
            f"Choose one with --table: {', '.join(TABLES)}.",
        )
    return lambda log: to_csv(log.contents(), chosen)
