"""``grader cut``: where to cut boards before they go into the acid."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from calibration.errors import RefusedError, UsageError
from calibration.files import check_place
from calibration.print_check import load_print_check
from grader.cautions import lines_for
from grader.cli.choices import (
    CornersOption,
    EndOption,
    LengthOption,
    PitchOption,
    RectangleOption,
    StartOption,
    TargetOption,
    ThicknessOption,
    choose_scale,
)
from grader.cli.output import as_json, out, show_error, write_whole
from grader.cut import CutRules, LongestPiece, PlannedBoard, Vessel, plan_measurement
from grader.cut.picture import cut_overlay_png
from grader.cut.words import FACE_NOTE, PARTS_NOTE, cut_document, cut_lines
from grader.measure import Request, measure
from grader.photo import load_photo
from grader.places import print_check_path
from grader.units import parse_length_mm, parse_pair_mm, parse_share


def cut(
    photo: Annotated[Path, typer.Argument(help="Photo of whole boards, a finger's width apart.", show_default=False)],
    target: TargetOption = None,
    length: LengthOption = None,
    start: StartOption = None,
    end: EndOption = None,
    rectangle: RectangleOption = None,
    corners: CornersOption = None,
    pitch: PitchOption = None,
    board_thickness: ThicknessOption = None,
    vessel: Annotated[
        str, typer.Option(help="Vessel's inner diameter and height of liquid; left out, some 1 L beaker at 800 mL.")
    ] = "100 x 100 mm",
    longest: Annotated[str | None, typer.Option(help="Instead of a vessel: longest piece, '120 mm'.")] = None,
    may_lose: Annotated[str, typer.Option(help="Share of the gold that may be thrown away.")] = "0.5 %",
    kerf: Annotated[str, typer.Option(help="Width that a saw takes; 0 mm for a shear.")] = "0 mm",
    clearance: Annotated[
        str, typer.Option(help="Between a cut and gold; what the camera leaves unsure comes on top.")
    ] = "0.5 mm",
    cost_per_gram: Annotated[
        float, typer.Option(min=0.0, help="What processing a gram of board costs, in any money; an example.")
    ] = 0.03,
    cost_per_cut: Annotated[float, typer.Option(min=0.0, help="What a cut costs, in the same; an example.")] = 0.03,
    through_contacts: Annotated[
        bool, typer.Option("--through-contacts", help="Let cuts pass through contacts.")
    ] = False,
    overlay: Annotated[Path | None, typer.Option(help="Write the photo with the cuts drawn, PNG.")] = None,
    template: Annotated[Path | None, typer.Option(help="Write a template at true size with check bar, PDF.")] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Paper of the template.")] = "a4",
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the plan here (- prints it).")] = None,
    calibration: Annotated[
        Path | None, typer.Option(help="File that keeps the check bar's length; the usual one if left out.")
    ] = None,
) -> None:
    """Plan straight cuts that keep the gold and throw the bare board away, so that the pieces fit the vessel.

    Example: grader cut boards.jpg --overlay cuts.png --template cuts.pdf
    """
    thickness = parse_length_mm(board_thickness) if board_thickness is not None else None
    scale = choose_scale(
        target=target, length=length, start=start, end=end, rectangle=rectangle, corners=corners, pitch=pitch,
        no_scale=False,
    )  # fmt: skip
    rules = CutRules(
        fit=LongestPiece(parse_length_mm(longest)) if longest is not None else _vessel(vessel, thickness),
        most_lost=parse_share(may_lose),
        kerf_mm=parse_length_mm(kerf) if kerf.strip() not in {"0", "0 mm"} else 0.0,
        clearance_mm=parse_length_mm(clearance) if clearance.strip() not in {"0", "0 mm"} else 0.0,
        cost_per_g=cost_per_gram,
        cost_per_cut=cost_per_cut,
        through="contacts" if through_contacts else "nothing",
    )
    for path in (overlay, template, json_out):
        if path is not None and str(path) != "-":
            check_place(path)
            if path.exists() and photo.exists() and path.samefile(photo):
                raise UsageError("output-is-photo", f"{path} is the photo.", "Choose another name for the result.")
    check = load_print_check(calibration if calibration is not None else print_check_path())
    done = measure(
        load_photo(photo),
        Request(
            scale=scale,
            board_thickness_mm=thickness,
            print_factor=check.print_factor() if check is not None else None,
        ),
    )
    if done.refused is not None:
        raise done.refused
    boards = plan_measurement(done, rules, thickness)
    planned = [b for b in boards if isinstance(b, PlannedBoard)]
    if template is not None and planned:
        # reportlab is slow to load, and only this needs it
        from grader.cut.template import template_pdf

        write_whole(template, template_pdf(planned, paper))
    if overlay is not None:
        write_whole(overlay, cut_overlay_png(done, planned))
    if json_out is not None:
        data = as_json(cut_document(photo.name, boards))
        if str(json_out) == "-":
            typer.echo(data.decode(), nl=False)
        else:
            write_whole(json_out, data)
    if json_out is None or str(json_out) != "-":
        _show(planned)
    refused = [b for b in boards if isinstance(b, RefusedError)]
    for error in refused:
        show_error(error, photo.name)
    if not planned:
        raise typer.Exit(RefusedError.exit_code)


def _vessel(text: str, thickness_mm: float | None) -> Vessel:
    diameter, fill = parse_pair_mm(text)
    return Vessel(diameter, fill, thickness_mm or 1.6)


def _show(planned: list[PlannedBoard]) -> None:
    for number, board in enumerate(planned, 1):
        out.print(f"[bold]Board {number}[/]")
        for line in cut_lines(board):
            out.print(f"  {line}", markup=False)
    for line in (PARTS_NOTE, FACE_NOTE, *lines_for("cut")):
        out.print(line, markup=False, style="yellow")
