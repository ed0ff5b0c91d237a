"""``grader batch``: what a batch needs, gives off and leaves."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape

from calibration.errors import UsageError
from grader.batch import (
    BatchPlan,
    CutPieces,
    Given,
    Vessels,
    charge_of,
    example_process_text,
    load_process,
    plan_batch,
    read_cut_plan,
)
from grader.batch.words import HEADING, STATEMENTS, assumed_table, batch_document, batch_lines, plan_tables
from grader.cautions import lines_for
from grader.cli.currency import base_figures, own_money
from grader.cli.log_report import print_table
from grader.cli.output import is_stdout, out, show_notice, write_data, write_json
from grader.cli.value_options import measured_in
from grader.measured import documents_in
from grader.places import process_folder
from grader.units import parse_volume_ml


def batch(
    measurements: Annotated[
        list[Path] | None, typer.Argument(help="Files that grader measure --json wrote.", show_default=False)
    ] = None,
    lot: Annotated[
        str | None, typer.Option(help="The boards measured in this lot of the log instead, by name or number.")
    ] = None,
    log: Annotated[
        str | None, typer.Option(help="The log: a file, or postgresql://user@host/database. Default: the usual file.")
    ] = None,
    cut: Annotated[
        list[Path] | None, typer.Option(help="File that grader cut --json wrote: only kept pieces go in.")
    ] = None,
    mass: Annotated[str, typer.Option(help="Mass of all pieces that go in: '470 g' or '450..500 g'.")] = "",
    gold: Annotated[str, typer.Option(help="Gold in the plating, if known better than measured: '60..120 mg'.")] = "",
    plated_area: Annotated[str, typer.Option(help="Plated area of all pieces, likewise: '42 cm2'.")] = "",
    bare_copper: Annotated[str, typer.Option(help="Open copper beside the plating: '10..20 cm2'.")] = "",
    copies: Annotated[float, typer.Option(help="How many sets of the photographed boards go in.")] = 1.0,
    other_face: Annotated[str, typer.Option(help="Faces that no photo shows: 'alike', or 'left out'.")] = "left out",
    vessel: Annotated[str, typer.Option(help="Nominal volume of one vessel.")] = "1 l",
    vessels: Annotated[int, typer.Option(min=1, help="How many stand side by side.")] = 1,
    process: Annotated[
        str | None, typer.Option("--set", help="Your figures of the process: a file, or the name of a set.")
    ] = None,
    assumptions: Annotated[
        str | None, typer.Option(help="Assumptions of grader value, for the price of disposal and of your own hour.")
    ] = None,
    figures: Annotated[bool, typer.Option("--figures", help="Also show every figure used, with its source.")] = False,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the plan here (- prints it).")] = None,
    example: Annotated[bool, typer.Option("--example", help="Print the example file of process figures.")] = False,
) -> None:
    """Plan a batch: vessel loads, reagents, costs, time, waste and gas. It plans quantities; it is not a procedure.

    Example: grader batch boards.json --mass "470 g" --vessel "1 l"
    """
    if example:
        write_data(example_process_text())
        return
    charge = charge_of(
        Given(mass, gold, plated_area, bare_copper),
        measured_in(measurements or [], lot, log) if measurements or lot is not None else [],
        [c for path in cut or () for c in _cut_plans(path)],
        copies=copies,
        other_face="alike" if _is_alike(other_face) else "left_out",
    )
    plan = plan_batch(
        charge,
        load_process(process, process_folder()),
        Vessels(parse_volume_ml(vessel), vessels),
        base_figures(assumptions, own_money()),
    )
    if json_out is not None:
        write_json(json_out, batch_document(plan))
    if not is_stdout(json_out):
        show_plan(plan, figures=figures)


def show_plan(plan: BatchPlan, *, figures: bool = False) -> None:
    """Print a plan, always with the cautions."""
    out.print(f"[bold]{HEADING}[/]")
    for line in batch_lines(plan):
        out.print(f"  {line}", markup=False)
    for table in (*plan_tables(plan), *((assumed_table(plan),) if figures else ())):
        out.print(f"\n[bold]{escape(table.title)}[/]")
        print_table(table)
    out.print()
    for item in plan.notices:
        show_notice(item)
    for text in STATEMENTS:
        out.print(text, markup=False)
    out.print()
    for text in lines_for("batch"):
        out.print(text, markup=False, style="yellow")


def _cut_plans(path: Path) -> list[CutPieces]:
    return [read_cut_plan(document) for document in documents_in(path)]


def _is_alike(text: str) -> bool:
    word = text.strip().lower().replace("_", " ").replace("-", " ")
    if word not in ("alike", "left out"):
        raise UsageError(
            "other-face-unknown", f"'{text}' is not a valid value for the other face.", "Write 'alike' or 'left out'."
        )
    return word == "alike"
