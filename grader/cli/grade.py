"""``grader grade``: which boards are worth the acid."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration.errors import PhotoError, RefusedError, UsageError
from calibration.files import check_place
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
from grader.cli.cut_options import (
    CLEARANCE,
    CUT_COST,
    GRAM_COST,
    MAY_LOSE,
    NOTHING_MM,
    VESSEL,
    BackOption,
    CheckBarOption,
    ClearanceOption,
    CutCostOption,
    GramCostOption,
    KerfOption,
    LongestOption,
    MayLoseOption,
    ThroughOption,
    TurnedOption,
    VesselOption,
    cut_rules,
    look_at,
    pair_sides,
    request_of,
)
from grader.cli.output import err, is_stdout, out, show_error, show_table, write_json, write_whole
from grader.cli.photos import photo_files
from grader.cut.picture import small_photo
from grader.grade import (
    Candidate,
    Grades,
    Measure,
    Thresholds,
    candidates_of,
    example_thresholds_text,
    grade_boards,
    load_thresholds,
    measured_candidates,
)
from grader.grade.candidates import is_measurement
from grader.grade.words import (
    BOARD_COLUMNS,
    PART_COLUMNS,
    board_rows,
    grades_document,
    notes_of,
    order_lines,
    part_rows,
)
from grader.places import assumptions_folder
from grader.units import parse_length_mm
from grader.value import load_set, with_given
from grader.value.measured import documents_in

NotGraded = list[tuple[str, RefusedError]]


def grade(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Photos of whole boards, folders of them, or patterns; or files that grader measure --json wrote.",
            show_default=False,
        ),
    ] = None,
    spot: Annotated[str | None, typer.Option(help="Gold price, such as '2650 USD/ozt' or '85 EUR/g'.")] = None,
    spot_date: Annotated[str | None, typer.Option(help="Day of the gold price: 2026-11-20, or today.")] = None,
    payable: Annotated[str | None, typer.Option(help="Share of it that is paid: '93 %' or '85..98 %'.")] = None,
    recovery: Annotated[str | None, typer.Option(help="Gold recovered ÷ gold present: '85..94..99 %'.")] = None,
    assumptions: Annotated[
        str | None, typer.Option(help="Your prices: a file, or the name of a set; see grader value --example.")
    ] = None,
    thresholds: Annotated[Path | None, typer.Option(help="Your thresholds: a file; see --example.")] = None,
    by: Annotated[
        Measure, typer.Option(help="What ranks: value per gram processed, or per minute of work.")
    ] = "gram",
    part: Annotated[
        list[str] | None,
        typer.Option(help="Kind of the boards; once for all files, or once for each. Left out, each file is a part."),
    ] = None,
    back: BackOption = None,
    turned: TurnedOption = None,
    target: TargetOption = None,
    length: LengthOption = None,
    start: StartOption = None,
    end: EndOption = None,
    rectangle: RectangleOption = None,
    corners: CornersOption = None,
    pitch: PitchOption = None,
    board_thickness: ThicknessOption = None,
    vessel: VesselOption = VESSEL,
    longest: LongestOption = None,
    may_lose: MayLoseOption = MAY_LOSE,
    kerf: KerfOption = NOTHING_MM,
    clearance: ClearanceOption = CLEARANCE,
    cost_per_gram: GramCostOption = GRAM_COST,
    cost_per_cut: CutCostOption = CUT_COST,
    through_contacts: ThroughOption = False,
    sheet: Annotated[
        list[Path] | None, typer.Option(help="Write a sheet with a picture of each board; ends in .png or .pdf.")
    ] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the grades here (- prints them).")] = None,
    calibration: CheckBarOption = None,
    example: Annotated[bool, typer.Option("--example", help="Print the example file of thresholds.")] = False,
) -> None:
    """Rank boards by what their gold is worth, and sort them: process, sell whole, or leave.

    From photos, what counts is what is left after cutting (as grader cut plans it). Neighbours whose order the ranges
    cannot tell are named.

    Exit codes: 0 some board was graded, 2 wrong use or not a photo, 3 refused.

    Example: grader grade shelf.jpg --spot "2650 USD/ozt" --spot-date today --sheet grades.pdf

    Example: grader grade a.jpg b.jpg --part modules --spot "85 USD/g" --spot-date 2026-11-20 --json grades.json
    """
    if example:
        out.print(example_thresholds_text(), markup=False, end="")
        return
    prices = with_given(
        load_set(assumptions, assumptions_folder()),
        spot=spot,
        spot_date=None if spot_date is None else _day(spot_date),
        payable=payable,
        recovery=recovery,
    )
    wanted = load_thresholds(thresholds)
    thickness = parse_length_mm(board_thickness) if board_thickness is not None else None
    scale = choose_scale(
        target=target, length=length, start=start, end=end, rectangle=rectangle, corners=corners, pitch=pitch,
        no_scale=False,
    )  # fmt: skip
    rules = cut_rules(
        vessel=vessel, longest=longest, may_lose=may_lose, kerf=kerf, clearance=clearance,
        cost_per_gram=cost_per_gram, cost_per_cut=cost_per_cut, through_contacts=through_contacts,
        thickness_mm=thickness,
    )  # fmt: skip
    if prices.spot is None:
        raise UsageError(
            "spot-missing",
            "No gold price was given.",
            "Look up today's price and give it with its date, such as --spot '… USD/ozt' --spot-date 2026-11-20.",
        )
    named = photo_files(files or [])
    measured = [path for path in named if is_measurement(path)]
    both = pair_sides([path for path in named if not is_measurement(path)], back or [], turned)
    _check_outputs(named, sheet or [], json_out)
    parts = _parts(part or [], [*(b.front for b in both), *measured])
    request = request_of(scale, thickness, calibration)

    found: list[Candidate] = []
    unknown: NotGraded = []
    once: dict[str, str] = {}
    code = 0
    for number, sides in enumerate(both, 1):
        name = sides.front.name
        if err.is_terminal:
            err.print(f"{number} of {len(both)} {name}", style="dim", markup=False)
        try:
            seen = look_at(sides, request, turned)
        except (PhotoError, RefusedError) as error:
            show_error(error, name)
            code = code or error.exit_code
            continue
        _once(once, seen.done.photo.sha256, name)
        boards, bad = candidates_of(name, seen.boards, rules, parts[sides.front], small_photo(seen.done.photo.rgb))
        found += boards
        unknown += bad
    for path in measured:
        documents = [(path.name, document) for document in documents_in(path)]
        for document in (d for _, d in documents):
            _once(once, str(document.get("sha256")), str(document.get("photo")))
        found += measured_candidates(documents, parts[path], thickness)
    for name, refusal in unknown:
        show_error(refusal, name)
    if not found:
        raise typer.Exit(code or RefusedError.exit_code)
    grades = grade_boards(found, prices, wanted, by=by)
    _write(grades, wanted, unknown, sheet or [], json_out)
    if not is_stdout(json_out):
        _show(grades, wanted)
    raise typer.Exit(code)


def _parts(given: Sequence[str], files: Sequence[Path]) -> dict[Path, str]:
    """The part of each file.

    Raises:
        UsageError: ``parts-count``.
    """
    if len(given) > 1 and len(given) != len(files):
        raise UsageError(
            "parts-count",
            f"There are {len(files)} files, but {len(given)} parts.",
            "Give --part once for all files, or once for each, photos before measurements.",
        )
    names = list(given) * len(files) if len(given) == 1 else list(given) or [""] * len(files)
    return dict(zip(files, names, strict=True))


def _once(seen: dict[str, str], sha256: str, name: str) -> None:
    """Refuse the same photo again, and another one of the same name.

    Raises:
        UsageError: ``photo-twice``, ``photo-name-twice``.
    """
    if sha256 in seen:
        raise UsageError("photo-twice", f"{name} is the same photo as {seen[sha256]}.", "Give each photo once.")
    if name in seen.values():
        raise UsageError("photo-name-twice", f"Two photos are called {name}.", "Rename one of them.")
    seen[sha256] = name


def _check_outputs(inputs: Sequence[Path], sheets: Sequence[Path], json_out: Path | None) -> None:
    for path in sheets:
        if path.suffix.lower() not in {".png", ".pdf"}:
            raise UsageError("sheet-kind", f"{path} ends neither in .png nor in .pdf.", "Name it grades.pdf or so.")
    for path in (*sheets, *(() if json_out is None or is_stdout(json_out) else (json_out,))):
        check_place(path)
        if any(path.exists() and file.exists() and path.samefile(file) for file in inputs):
            raise UsageError("output-is-photo", f"{path} is one of the files.", "Choose another name for the result.")


def _write(
    grades: Grades, thresholds: Thresholds, unknown: NotGraded, sheets: Sequence[Path], json_out: Path | None
) -> None:
    if sheets:
        # reportlab is slow to load, and only this needs it
        from grader.grade.sheet import sheet_pdf, sheet_png

        for path in sheets:
            make = sheet_png if path.suffix.lower() == ".png" else sheet_pdf
            write_whole(path, make(grades, thresholds, not_graded=unknown))
    if json_out is not None:
        document: dict[str, Any] = grades_document(grades, thresholds, unknown)
        write_json(json_out, document)


def _show(grades: Grades, thresholds: Thresholds) -> None:
    show_table(BOARD_COLUMNS, board_rows(grades))
    for graded in grades.boards:
        if graded.candidate.why_not is not None:
            out.print(f"{graded.candidate.name}: {graded.candidate.why_not.message}", markup=False)
    rows = part_rows(grades)
    if rows:
        out.print()
        show_table(PART_COLUMNS, rows)
    out.print()
    for line in order_lines(grades):
        out.print(line, markup=False)
    for line in (*notes_of(grades, thresholds), *lines_for("cut")):
        out.print(line, markup=False, style="yellow")


def _day(text: str) -> date:
    if text.strip().lower() == "today":
        return date.today()
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(
            "date-unreadable", f"'{text}' is no date.", "Write it as year-month-day, such as 2026-11-20, or today."
        ) from error
