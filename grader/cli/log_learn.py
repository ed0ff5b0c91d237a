"""``grader log``: what the yields teach, how the estimates did, and what keeps the record right."""

from __future__ import annotations

import getpass
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date
from json import dumps
from pathlib import Path
from typing import Annotated

import typer

from calibration.errors import LogError, UsageError
from calibration.files import is_there
from calibration.reading import FileKind, read_text, sha256_of
from grader.cli.log import (
    CarriedOption,
    FinenessChoice,
    FinenessOption,
    KnownOption,
    LostOption,
    UncertaintyOption,
    log_app,
    yield_entry,
)
from grader.cli.log_options import DayOption, JsonFlag, LogOption, WhoOption, day_of, existing_log, say_line
from grader.cli.log_report import print_table, print_tables
from grader.cli.output import json_line, write_data
from grader.cli.questions import YesOption, ask_first
from grader.learn import TOGETHER, Newest, newest_in, outcomes, pairs, returns, returns_by
from grader.learn.csv_import import entries, questions_of, read_csv
from grader.learn.invented import write_invented
from grader.learn.ledger_tables import LEDGER_NOTE, held_sentences, ledger_document, ledger_tables
from grader.learn.questions import Asker
from grader.learn.tables import (
    belief_sentences,
    belief_table,
    flags_table,
    left_out_table,
    pairs_table,
    parts_table,
    record_tables,
    returns_table,
    rows_table,
    sellers_table,
)
from grader.log import NewAttachment, NewExclusion, NewMark, checked

_CSV = FileKind(
    code="file", what="a table of yields", most_bytes=20_000_000, fix="Save the table alone, as CSV in UTF-8."
)

YieldNumber = Annotated[
    int, typer.Argument(help="Number of the yield (see: grader log compare).", show_default=False)
]
ReasonOption = Annotated[str, typer.Option(help="Why.", show_default=False)]


@log_app.command()
def belief(log: LogOption = None, json: JsonFlag = False) -> None:
    """What the yields teach about effective thickness, what it rests on, how far it moved.

    Example: grader log belief
    """
    found = newest_in(existing_log(log))
    if json:
        write_data(json_line(None if found is None else found.document()).decode())
        return
    if found is None:
        say_line("Nothing to learn from yet: log a yield of a lot whose photos were measured.")
        return
    for sentence in belief_sentences(found):
        say_line(sentence)
    _show_belief(found)
    say_line(f"\n{TOGETHER}")


def _show_belief(found: Newest) -> None:
    shifts, flags = belief_table(found.belief.shifts()), flags_table(found.flags())
    print_tables((shifts, parts_table(found), sellers_table(found), flags, left_out_table(found)))


@log_app.command()
def compare(log: LogOption = None, json: JsonFlag = False) -> None:
    """Each yield beside the estimate made before it, what lots returned, profit, and what the offers' ranges held.

    Example: grader log compare
    """
    contents = existing_log(log).contents()
    found = pairs(contents)
    money = ledger_tables(contents)
    if json:
        each = {"yields": map(asdict, found), "returns": map(asdict, returns(contents))}
        told = {"schema": 1, **{k: list(v) for k, v in each.items()}, **ledger_document(contents)}
        write_data(dumps(told, default=str) + "\n")
        return
    if not found and not money:
        say_line("No yield and no money yet.")
        return
    if found:
        tables = [pairs_table(found), *record_tables(found), returns_table("What lots returned", returns(contents))]
        tables += [
            returns_table(f"What lots returned, by {by}", returns_by(contents, by)) for by in ("seller", "part")
        ]
        print_tables(tables)
        say_line(
            "\nScore: CRPS, in the unit of the gold; smaller is better. Estimates with published thickness are of "
            "gold present; what a process loses shows as weighed below estimated."
        )
    print_tables(money)
    for sentence in (*held_sentences(outcomes(contents)), *((LEDGER_NOTE,) if money else ())):
        say_line(f"\n{sentence}")


@log_app.command()
def correct(
    number: YieldNumber,
    mass: Annotated[str, typer.Option(help="The correct mass of gold.", show_default=False)],
    reason: ReasonOption,
    day: Annotated[str, typer.Option("--date", help="Day of weighing: 2026-11-20.", show_default=False)],
    uncertainty: UncertaintyOption = None,
    fineness: FinenessOption = None,
    known: KnownOption = FinenessChoice.ASSUMED,
    carried_in: CarriedOption = None,
    lost: LostOption = None,
    note: Annotated[str, typer.Option(help="Anything worth keeping.")] = "",
    who: WhoOption = "",
    yes: YesOption = False,
    log: LogOption = None,
) -> None:
    """Enter a yield again where it was wrong: give all of it. The wrong entry stays in the log.

    A purchase, cost, sale or settlement is entered again by its own command: bought, cost, sold or settled, with
    --corrects and --reason.

    Example: grader log correct 3 --mass "0.021 g" --date 2026-11-20 --reason "read the scale wrong"
    """
    new = yield_entry(mass, uncertainty, fineness, known, carried_in, lost, note, day_of(day), _who(who))
    opened = existing_log(log)
    ask_first(Asker(opened.contents(), date.today()).of_correction(new, number), yes=yes)
    kept = opened.correct_yield(number, new, reason)
    say_line(f"Yield {kept.id} takes the place of yield {number}.")


@log_app.command()
def exclude(
    number: YieldNumber,
    reason: ReasonOption,
    again: Annotated[bool, typer.Option("--take-in-again", help="Learn from it again.")] = False,
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Leave a yield out of what is learned from, with a reason; it stays in the log.

    Example: grader log exclude 3 --reason "another lot's gold was in it"
    """
    entry = checked(NewExclusion, excluded=not again, reason=reason, who=_who(who))
    existing_log(log).exclude_yield(number, entry)
    say_line(f"Yield {number} is {'learned from again' if again else 'no longer learned from'}.")


@log_app.command()
def process(
    note: Annotated[str, typer.Argument(help="What changed, such as 'finer filters'.", show_default=False)],
    day: DayOption = None,
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Mark that your process changed: the fraction recovered is learned again, thickness is not.

    Example: grader log process "finer filters" --date 2026-11-20
    """
    mark = checked(NewMark, kind="process", day=day_of(day), note=note, who=_who(who))
    existing_log(log).add_mark(mark)
    say_line(f"From {mark.day} on the process counts as changed.")


@log_app.command()
def reset(
    reason: Annotated[str, typer.Argument(help="Why.", show_default=False)],
    day: DayOption = None,
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Start the belief over: yields weighed up to this day stay in the log but are no longer learned from.

    Example: grader log reset "a new balance"
    """
    mark = checked(NewMark, kind="reset", day=day_of(day), note=reason, who=_who(who))
    existing_log(log).add_mark(mark)
    say_line(f"Yields weighed up to {mark.day} no longer count for learning.")


@log_app.command()
def attach(
    number: YieldNumber,
    file: Annotated[Path, typer.Argument(help="The file, such as a report or a picture.", show_default=False)],
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Note a file that belongs to a yield, such as an assay's report, by its sha256; the file itself is not kept.

    Example: grader log attach 3 assay.pdf
    """
    if file.exists() and not file.is_file():
        raise UsageError("file-unreadable", f"The file {file} does not exist.", "Check its name.")
    try:
        digest = sha256_of(file)
    except (OSError, ValueError) as error:
        raise _CSV.unreadable(file, error) from error
    existing_log(log).attach(number, checked(NewAttachment, sha256=digest, name=file.name, who=_who(who)))
    say_line(f"{file.name} noted for yield {number}.")


@log_app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(help="CSV with lot, mass, weighed_on and more.", show_default=False)],
    write: Annotated[bool, typer.Option("--write", help="Write the rows, if all are right.")] = False,
    yes: YesOption = False,
    log: LogOption = None,
) -> None:
    """Yields from a CSV file: shows every row and what is wrong with it; --write then takes all, or none.

    Example: grader log import yields.csv --write
    """
    text = read_text(file, _CSV)
    opened = existing_log(log)
    rows = read_csv(text, opened.contents())
    print_table(rows_table(rows))
    wanted = entries(rows)
    if write:
        ask_first(questions_of(rows), yes=yes)
        count = len(opened.add_yields(wanted))
        say_line(f"{count} {'yield' if count == 1 else 'yields'} logged.")
    else:
        say_line("Nothing was written yet; add --write to log these rows.")


@log_app.command()
def backup(
    to: Annotated[Path, typer.Argument(help="The new file to write.", show_default=False)], log: LogOption = None
) -> None:
    """Copy the whole log into a new file.

    Example: grader log backup log-copy.db
    """
    from grader.log.copies import backup as copy

    rows = copy(existing_log(log), to)
    say_line(f"{to} written and checked: {_held(rows)}.")


@log_app.command()
def restore(
    copy: Annotated[Path, typer.Argument(help="A copy made by: grader log backup.", show_default=False)],
    log: LogOption = None,
) -> None:
    """Put a copy in the log's place; the log that was there is kept under another name.

    Example: grader log restore log-copy.db
    """
    from grader.log.copies import restore as put_back
    from grader.log.store_postgres import is_url

    if log is not None and is_url(log):
        raise LogError(
            "log-on-server", "A log on a server must be restored with the server's own tools.", "Use pg_restore."
        )
    done = put_back(copy, None if log is None else Path(log))
    say_line(f"Restored and checked: {_held(done.rows)} in {done.place}.")
    if done.kept is not None:
        say_line(f"The log that was there is now {done.kept}.")
    if done.kept_trouble:
        say_line(f"  It was damaged already ({done.kept_trouble}); it was kept as it was.")


@log_app.command()
def invent(log: Annotated[Path, typer.Option(help="A new file.", show_default=False)]) -> None:
    """Fill a new log with 30 invented lots and yields, to try what learning does. Nobody weighed any of it.

    Example: grader log invent --log invented.db
    """
    if is_there(log):
        raise LogError("log-exists", f"{log} already exists; it was left as it is.", "Name a new file.")
    write_invented(log)
    say_line(f"{log} holds 30 invented lots. See: grader log belief --log {log}")


def _held(rows: Mapping[str, int]) -> str:
    lots, yields = rows.get("lots", 0), rows.get("yields", 0)
    return f"{lots} {'lot' if lots == 1 else 'lots'}, {yields} {'yield' if yields == 1 else 'yields'}"


def _who(given: str) -> str:
    """The author of an entry: as given, or the account name."""
    if given:
        return given
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return ""
