"""``grader target``: print the scale target, and store how long its check bar came out."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from calibration.errors import UsageError
from calibration.print_check import PrintCheck, load_print_check, save_print_check
from grader.cli.output import out, write_whole
from grader.places import print_check_path
from grader.units import parse_length_mm


def target(
    paper: Annotated[
        Literal["a4", "letter"] | None, typer.Option(help="Write the target for this paper as a PDF at true size.")
    ] = None,
    output: Annotated[Path | None, typer.Option(help="The PDF to write; target-PAPER.pdf if left out.")] = None,
    bar_measured: Annotated[
        str | None, typer.Option(help="Store the check bar's length as you measured it: '99.4 mm'.")
    ] = None,
    calibration: Annotated[
        Path | None, typer.Option(help="File that keeps the check bar's length; the usual one if left out.")
    ] = None,
) -> None:
    """Make the printable scale target, or store how long its 100 mm check bar was printed.

    Example: grader target --paper a4
    """
    if output is not None and paper is None:
        raise UsageError("paper-missing", "No paper was chosen for the target.", "Add --paper a4 or --paper letter.")
    path = calibration if calibration is not None else print_check_path()
    if bar_measured is not None:
        check = PrintCheck(parse_length_mm(bar_measured))
        save_print_check(check, path)
        out.print(f"Stored: check bar {check.bar_mm:.2f} mm, in {path}", markup=False)
    if paper is not None:
        # reportlab is slow to load, and only this needs it
        from calibration.target_pdf import target_pdf

        file = output if output is not None else Path(f"target-{paper}.pdf")
        write_whole(file, target_pdf(paper))
        out.print(f"Wrote {file}. Print it at 100 %, measure the bar, then store its length:", markup=False)
        out.print('  grader target --bar-measured "99.4 mm"', markup=False)
    if bar_measured is None and paper is None:
        _show(path)


def _show(path: Path) -> None:
    check = load_print_check(path)
    if check is None:
        out.print(f"No check bar is stored in {path}.", markup=False)
        out.print("Make the target with --paper a4 or --paper letter, print it, and measure its bar.", markup=False)
    else:
        out.print(f"The check bar was {check.bar_mm:.2f} mm long ({path}).", markup=False)
