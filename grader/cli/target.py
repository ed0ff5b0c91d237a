"""``grader target``: print the scale target, and store how long its check bar came out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from calibration.errors import UsageError
from calibration.print_check import PrintCheck, load_print_check, save_print_check
from calibration.target import Paper
from grader.cli.output import err, is_stdout, out, write_json, write_whole
from grader.places import print_check_path
from grader.units import parse_length_mm


def target(
    paper: Annotated[
        Paper | None, typer.Option(help="Write the target for this paper as a PDF at true size.")
    ] = None,
    how_to: Annotated[
        bool,
        typer.Option("--how-to", help="Write a page on how to photograph boards instead (A4 if no paper is named)."),
    ] = False,
    output: Annotated[
        Path | None, typer.Option(help="The PDF to write. Default: target-PAPER.pdf or how-to-photograph.pdf.")
    ] = None,
    bar_measured: Annotated[
        str | None, typer.Option(help="Store the measured length of the check bar: '99.4 mm'.")
    ] = None,
    calibration: Annotated[
        Path | None, typer.Option(help="File that keeps the check bar's length. Default: the usual one.")
    ] = None,
    json_out: Annotated[
        Path | None, typer.Option("--json", help="Write the stored check bar here (- prints it).")
    ] = None,
) -> None:
    """Make the printable scale target, or store how long its 100 mm check bar was printed.

    Example: grader target --paper a4

    Example: grader target --bar-measured "99.4 mm"

    Example: grader target --how-to
    """
    if output is not None and paper is None and not how_to:
        raise UsageError("paper-missing", "No paper was chosen for the target.", "Add --paper a4 or --paper letter.")
    path = calibration if calibration is not None else print_check_path()
    if bar_measured is not None:
        save_print_check(PrintCheck(parse_length_mm(bar_measured)), path)
    check = load_print_check(path)
    say = err if is_stdout(json_out) else out  # JSON there must stand alone
    if bar_measured is not None and check is not None:
        say.print(f"Stored: check bar {check.bar_mm:.2f} mm, in {path}", markup=False)
    if how_to:
        _write_how_to(paper or "a4", output, say)
    elif paper is not None:
        _write_target(paper, output, say)
    elif bar_measured is None and json_out is None:
        _show(check, path)
    if json_out is not None:
        write_json(json_out, {"check_bar_mm": None if check is None else check.bar_mm, "file": str(path)})


def _write_target(paper: Paper, output: Path | None, say: Console) -> None:
    # reportlab is slow to load, and only this needs it
    from calibration.target_pdf import target_pdf

    file = output if output is not None else Path(f"target-{paper}.pdf")
    write_whole(file, target_pdf(paper))
    say.print(f"Wrote {file}. Print it at 100 %, measure the bar, then store its length:", markup=False)
    say.print('  grader target --bar-measured "99.4 mm"', markup=False)


def _write_how_to(paper: Paper, output: Path | None, say: Console) -> None:
    from grader.photo_advice.how_to_pdf import how_to_pdf

    file = output if output is not None else Path("how-to-photograph.pdf")
    write_whole(file, how_to_pdf(paper))
    say.print(f"Wrote {file}: print it and keep it where you take the photos.", markup=False)


def _show(check: PrintCheck | None, path: Path) -> None:
    if check is None:
        out.print(f"No check bar is stored in {path}.", markup=False)
        out.print("Make the target with --paper a4 or --paper letter, print it, and measure its bar.", markup=False)
    else:
        out.print(f"The check bar was {check.bar_mm:.2f} mm long ({path}).", markup=False)
