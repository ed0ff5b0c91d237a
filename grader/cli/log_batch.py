"""``grader log batch``: what went into a batch, what was used, what came out, what goes into the next one."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration.errors import DataFileError, UnitError, UsageError
from calibration.reading import FileKind, json_of, read_text
from grader.cautions import lines_for
from grader.cli.log import (
    CarriedOption,
    FinenessChoice,
    FinenessOption,
    KnownOption,
    LostOption,
    UncertaintyOption,
    lot_copies,
    yield_entry,
)
from grader.cli.log_options import (
    DatedOptions,
    DayOption,
    JsonFlag,
    LogOption,
    NotedOptions,
    NoteOption,
    WhoOption,
    day_of,
    existing_log,
    number_or_name,
    say_line,
)
from grader.cli.log_report import print_table, print_tables
from grader.cli.options import with_options
from grader.cli.output import json_line, out, write_data
from grader.cli.questions import YesOption, ask_first
from grader.learn.questions import Asker, of_amount, of_carry_over, of_load
from grader.log import NewAmount, NewBatch, NewCarryOver, NewLoad, NewStrike, NewTest, batches_as_json, checked
from grader.log.batch_tables import batch_tables, batches_table, waiting_table
from grader.units import format_mass, parse_hours, parse_mass_g, parse_volume_ml, parse_weighed_mg

batch_app = typer.Typer(
    name="batch",
    help="Keep a batch: its loads, what was used, what came out, boards carried over, tests.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
)

_PLAN = FileKind(
    code="plan", what="a batch plan", most_bytes=20_000_000, fix="Write one: grader batch … --json plan.json"
)

BatchArgument = Annotated[str, typer.Argument(help="The batch's name or number.", show_default=False)]


def _write_json(document: dict[str, Any]) -> None:
    write_data(json_line(document).decode())


@batch_app.command("list")
def list_(log: LogOption = None, as_json: JsonFlag = False) -> None:
    """All batches, and boards that wait for a later one.

    Example: grader log batch list
    """
    contents = existing_log(log).contents()
    if as_json:
        _write_json(batches_as_json(contents))
        return
    print_table(batches_table(contents))
    print_tables([waiting_table(contents)])


@batch_app.command()
def show(batch: BatchArgument, log: LogOption = None, as_json: JsonFlag = False) -> None:
    """All that was logged of one batch.

    Example: grader log batch show "first batch"
    """
    contents = existing_log(log).contents()
    found = contents.batches.named(number_or_name(batch))
    if as_json:
        _write_json({**batches_as_json(contents, found.id), "cautions": list(lines_for("batch"))})
        return
    say_line(f"Batch {found.id}, {found.name}, started {found.started_on}{f'; {found.note}' if found.note else ''}")
    print_tables(batch_tables(contents, found.id))
    out.print()
    for text in lines_for("batch"):
        out.print(text, markup=False, style="yellow")


@batch_app.command()
def new(
    name: Annotated[str, typer.Argument(help="A name for the batch.", show_default=False)],
    plan: Annotated[Path | None, typer.Option(help="The plan that grader batch --json wrote, to keep it.")] = None,
    day: DayOption = None,
    note: NoteOption = "",
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Start a batch: loads that are refined together.

    Example: grader log batch new "first batch" --date 2026-11-20
    """
    entry = checked(NewBatch, name=name, started_on=day_of(day), note=note, who=who)
    document = None if plan is None else _plan(plan)
    started = existing_log(log).add_batch(entry, document)
    say_line(f"Batch {started.id}, {started.name}, is in the log.")


@batch_app.command()
@with_options(DatedOptions)
def load(
    batch: BatchArgument,
    lot: Annotated[
        list[str] | None, typer.Option(help="A lot that went in: 'LOT', or 'LOT=0.5' for half its boards.")
    ] = None,
    carried: Annotated[
        list[int] | None, typer.Option(help="Number of a carry-over whose boards went in; see: list.")
    ] = None,
    vessel: Annotated[str, typer.Option(help="Which vessel, as you like to write it.")] = "",
    mass: Annotated[str | None, typer.Option(help="Mass of the pieces in it: '470 g'.")] = None,
    *,
    options: DatedOptions,
) -> None:
    """Log a vessel load: which lots, and which boards carried over from an earlier batch.

    Example: grader log batch load "first batch" --lot "attic lot" --vessel "1 l beaker" --mass "470 g"
    """
    entry = checked(
        NewLoad,
        vessel=vessel,
        mass_g=None if mass is None else parse_mass_g(mass),
        loaded_on=day_of(options.day),
        note=options.note,
        who=options.who,
    )
    opened = existing_log(options.log)
    pairs = [lot_copies(text) for text in lot or ()]
    lots = dict(pairs)
    if len(lots) < len(pairs):
        raise UsageError("lot-twice", "One lot is named twice.", "Name each lot once.")
    ask_first(of_load(entry, lots, date.today()), yes=options.yes)
    kept = opened.add_load(number_or_name(batch), entry, lots, carried or ())
    say_line(f"Load {kept.id} of {batch} logged.")
    contents = opened.contents()
    own = {each.lot_id for each in contents.batches.load_lots if each.load_id == kept.id}
    for waits in contents.batches.waiting():
        if waits.lot_id in own:
            say_line(
                f"Boards of that lot wait as carry-over {waits.id}. If it was these that went in, strike load "
                f"{kept.id} and log it with --carried {waits.id}: their gold would count twice."
            )


@batch_app.command()
@with_options(NotedOptions)
def used(
    batch: BatchArgument,
    what: Annotated[str, typer.Argument(help="Such as 'hydrochloric acid'.", show_default=False)],
    amount: Annotated[str, typer.Argument(help="'1.6 l', '30 g', '2 h', '3 pieces'.", show_default=False)],
    *,
    options: NotedOptions,
) -> None:
    """Log what a batch used up.

    Example: grader log batch used "first batch" "hydrochloric acid" "1.1 l"
    """
    _amount("used", batch, what, amount, options)


@batch_app.command("out")
@with_options(NotedOptions)
def came_out(
    batch: BatchArgument,
    what: Annotated[str, typer.Argument(help="Such as 'metal-bearing liquor'.", show_default=False)],
    amount: Annotated[str, typer.Argument(help="'1.6 l', '440 g', '2 pieces'.", show_default=False)],
    *,
    options: NotedOptions,
) -> None:
    """Log what came out of a batch besides gold: liquor, rinse water, stripped boards.

    Example: grader log batch out "first batch" "metal-bearing liquor" "1.4 l"
    """
    _amount("out", batch, what, amount, options)


@batch_app.command("test")
def note_test(
    batch: BatchArgument,
    what: Annotated[str, typer.Argument(help="The test, such as 'stannous chloride'.", show_default=False)],
    result: Annotated[str, typer.Argument(help="negative, positive or unclear.", show_default=False)],
    sample: Annotated[str, typer.Option(help="What was tested: 'spent gold solution'.")] = "",
    day: DayOption = None,
    note: NoteOption = "",
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Log a test that was done on a batch.

    Example: grader log batch test "first batch" "stannous chloride" negative --sample "spent gold solution"
    """
    entry = checked(NewTest, what=what, result=result, sample=sample, tested_on=day_of(day), note=note, who=who)
    kept = existing_log(log).add_test(number_or_name(batch), entry)
    say_line(f"Test {kept.id}, {kept.what}: {kept.result}, logged.")


@batch_app.command()
@with_options(NotedOptions)
def carry(
    batch: BatchArgument,
    lot: Annotated[str, typer.Argument(help="'LOT', or 'LOT=0.1' for a tenth of its boards.", show_default=False)],
    gold_left: Annotated[str | None, typer.Option(help="Fine gold still on them, if you can tell: '5 mg'.")] = None,
    uncertainty: UncertaintyOption = None,
    *,
    options: NotedOptions,
) -> None:
    """Log boards that came out with gold left on, for a later batch: their gold is neither lost nor counted twice.

    Example: grader log batch carry "first batch" "attic lot=0.1"
    """
    name, copies = lot_copies(lot)
    if (gold_left is None) != (uncertainty is None):
        raise UsageError(
            "gold-left-uncertain",
            "Gold left and its standard uncertainty go together.",
            "Give --gold-left '5 mg' --uncertainty '2 mg', or neither.",
        )
    entry = checked(
        NewCarryOver,
        copies=copies,
        left_mg=None if gold_left is None else parse_weighed_mg(gold_left),
        left_uncertainty_mg=None if uncertainty is None else parse_weighed_mg(uncertainty),
        note=options.note,
        who=options.who,
    )
    ask_first(of_carry_over(entry), yes=options.yes)
    kept = existing_log(options.log).add_carry_over(number_or_name(batch), name, entry)
    say_line(f"Carry-over {kept.id} logged. When its boards go in: grader log batch load NAME --carried {kept.id}.")


@batch_app.command("yield")
def yield_(
    batch: BatchArgument,
    mass: Annotated[str, typer.Option(help="Gold as weighed: '1.25 g'; '0 g' if none.", show_default=False)],
    uncertainty: UncertaintyOption = None,
    fineness: FinenessOption = None,
    known: KnownOption = FinenessChoice.ASSUMED,
    carried_in: CarriedOption = None,
    lost: LostOption = None,
    note: NoteOption = "",
    day: DayOption = None,
    who: WhoOption = "",
    yes: YesOption = False,
    log: LogOption = None,
) -> None:
    """Log gold weighed at the end of a batch; its lots are those of the loads, and it is learned from like any yield.

    Gold on boards carried over is taken care of by the carry-overs: leave it out of --carried-in and --lost.

    Example: grader log batch yield "first batch" --mass "0.42 g" --uncertainty "0.01 g"
    """
    entry = yield_entry(mass, uncertainty, fineness, known, carried_in, lost, note, day_of(day), who)
    opened = existing_log(log)
    ask_first(Asker(opened.contents(), date.today()).of_batch_yield(entry, number_or_name(batch)), yes=yes)
    kept = opened.add_batch_yield(number_or_name(batch), entry)
    say_line(f"Yield {kept.id}, {format_mass(entry.mass_mg)} from batch {batch}, logged.")


@batch_app.command()
def strike(
    kind: Annotated[str, typer.Argument(help="load, amount, test or carry-over.", show_default=False)],
    number: Annotated[int, typer.Argument(help="Its number.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why it is wrong.", show_default=False)],
    who: WhoOption = "",
    log: LogOption = None,
) -> None:
    """Take a wrong entry of a batch out of what counts; it stays in the log.

    Example: grader log batch strike load 3 --reason "another lot"
    """
    existing_log(log).strike(checked(NewStrike, kind=kind, entry_id=number, reason=reason, who=who))
    say_line(f"The {kind} {number} no longer counts.")


def _amount(kind: str, batch: str, what: str, amount: str, options: NotedOptions) -> None:
    value, unit = _quantity(amount)
    entry = checked(NewAmount, kind=kind, what=what, amount=value, unit=unit, note=options.note, who=options.who)
    ask_first(of_amount(entry), yes=options.yes)
    kept = existing_log(options.log).add_amount(number_or_name(batch), entry)
    say_line(f"Amount {kept.id}, {kept.what}, logged.")


def _quantity(text: str) -> tuple[float, str]:
    words = text.split()
    if len(words) == 2 and words[1].lower() in ("piece", "pieces") and words[0].isdecimal():
        return float(words[0]), "pieces"
    for read, unit in ((parse_volume_ml, "ml"), (parse_mass_g, "g"), (parse_hours, "h")):
        try:
            return read(text), unit
        except UnitError as error:
            if error.code in ("unit-missing", "value-negative", "value-zero", "unit-ambiguous", "value-not-finite"):
                raise
    raise UnitError(
        "quantity-unreadable", f"'{text}' is not an amount.", "Write it as '1.6 l', '30 g', '2 h' or '3 pieces'."
    )


def _plan(path: Path) -> Any:
    text = read_text(path, _PLAN)
    try:
        document = json_of(text)
    except ValueError as error:
        raise _no_plan(path, f" ({error})") from error
    if not isinstance(document, dict) or "loads" not in document:
        raise _no_plan(path)
    return document


def _no_plan(path: Path, why: str = "") -> DataFileError:
    return DataFileError("plan-invalid", f"{path} is not a plan{why}.", _PLAN.fix)
