"""``grader grade``: which boards are worth the acid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import typer

from calibration.errors import PhotoError, RefusedError, UsageError
from grader.cautions import lines_for
from grader.cli.currency import base_figures, gold_price, own_money
from grader.cli.cut_options import CutOptions
from grader.cli.learned import say_learned
from grader.cli.log_options import day_of
from grader.cli.options import with_options
from grader.cli.output import err, is_stdout, out, show_error, show_table, write_data, write_json, write_whole
from grader.cli.photos import photo_files
from grader.cli.pictures import check_outputs
from grader.cli.questions import ask_first
from grader.cut.picture import MAX_SIDE_PX
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
    with_weight,
)
from grader.grade.candidates import is_measurement
from grader.grade.words import (
    BOARD_COLUMNS,
    PART_COLUMNS,
    cut_part_rows,
    grade_notes,
    graded_rows,
    grades_document,
    order_lines,
)
from grader.measured import read_measurements
from grader.photo import reduced
from grader.units import parse_mass_g
from grader.valuation import Assumptions, with_given
from grader.valuation.books import spot_of
from grader.valuation.doubts import price_doubts
from grader.valuation.given_sales import SaleTexts

NotGraded = list[tuple[str, RefusedError]]


@dataclass(frozen=True)
class GradeOptions(CutOptions):
    """The options about prices and thresholds."""

    spot: Annotated[str | None, typer.Option(help="Gold price: '2650', '2650 USD/ozt' or '85 EUR/g'.")] = None
    spot_date: Annotated[str | None, typer.Option(help="The price's day: 2026-11-20; today if left out.")] = None
    payable: Annotated[str | None, typer.Option(help="Share of it that is paid: '93 %' or '85..98 %'.")] = None
    recovery: Annotated[str | None, typer.Option(help="Gold recovered ÷ gold present: '85..94..99 %'.")] = None
    whole_price: Annotated[str | None, typer.Option(help="What whole boards bring by weight: '5..9 USD/kg'.")] = None
    assumptions: Annotated[
        str | None, typer.Option(help="Your prices: a file, or the name of a set; see grader value --example.")
    ] = None
    thresholds: Annotated[Path | None, typer.Option(help="Your thresholds: a file; see --example.")] = None
    by: Annotated[Measure, typer.Option(help="What ranks: value per gram processed, or per minute of work.")] = "gram"
    part: Annotated[
        list[str] | None,
        typer.Option(
            help="Kind of the boards: once for all files, or once for each. Without it, each file is a part."
        ),
    ] = None

    weighed: Annotated[
        list[str] | None,
        typer.Option(help="What the boards of each file weigh together, parts and all, once for each: '72 g'."),
    ] = None

    yes: Annotated[bool, typer.Option("--yes", help="Accept a gold price that looks wrong, without asking.")] = False

    def prices(self) -> Assumptions:
        """The assumptions about prices.

        Raises:
            UsageError: an option that cannot be read; ``spot-missing``; a gold price that is doubted.
        """
        money = own_money()
        spot = gold_price(self.spot, self.assumptions, money)
        prices = with_given(
            base_figures(self.assumptions, money, (spot,)),
            spot=spot,
            spot_date=day_of(self.spot_date) if spot or self.spot_date else None,
            payable=self.payable,
            recovery=self.recovery,
            sales=None if self.whole_price is None else {"whole": SaleTexts(self.whole_price)},
        )
        spot_of(prices)
        ask_first([doubt.notice for doubt in price_doubts(prices)], yes=self.yes, undone="")
        return prices

    def parts(self, files: Sequence[Path]) -> dict[Path, str]:
        """The part of each file; empty if none was said.

        Raises:
            UsageError: ``parts-count``.
        """
        given = self.part or []
        if len(given) > 1 and len(given) != len(files):
            raise UsageError(
                "parts-count",
                f"There are {len(files)} files, but {len(given)} parts.",
                "Give --part once for all files, or once for each, photos before measurements.",
            )
        names = given if len(given) == len(files) else (given or [""]) * len(files)
        return dict(zip(files, names, strict=True))

    def weights_g(self, files: Sequence[Path]) -> dict[Path, float]:
        """Total mass of the boards of each file; empty if nothing was weighed.

        Raises:
            UsageError: ``weighed-count``, or as ``parse_mass_g``.
        """
        given = self.weighed or []
        if given and len(given) != len(files):
            raise UsageError(
                "weighed-count",
                f"There are {len(files)} files, but {len(given)} weights.",
                "Give --weighed once for each file, photos before measurements; or leave it out.",
            )
        return dict(zip(files, map(parse_mass_g, given), strict=False))


@with_options(GradeOptions)
def grade(
    options: GradeOptions,
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Photos of whole boards, folders of them, or patterns; or files that grader measure --json wrote.",
            show_default=False,
        ),
    ] = None,
    sheet: Annotated[
        list[Path] | None, typer.Option(help="Write a sheet with a picture of each board; ends in .png or .pdf.")
    ] = None,
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the grades here (- prints them).")] = None,
    example: Annotated[bool, typer.Option("--example", help="Print the example file of thresholds.")] = False,
) -> None:
    """Rank boards by what their gold is worth, and sort them: process, sell whole, or leave.

    From photos, what counts is what is left after cutting (as grader cut plans it). Neighbours whose order the ranges
    cannot tell are named.

    Exit codes: 0 some board was graded, 2 wrong use or not a photo, 3 refused.

    Example: grader grade shelf.jpg --spot "2650 USD/ozt" --sheet grades.pdf

    Example: grader grade a.jpg b.jpg --part modules --spot "85 USD/g" --spot-date 2026-11-20 --json grades.json
    """
    if example:
        write_data(example_thresholds_text())
        return
    prices, wanted = options.prices(), load_thresholds(options.thresholds)
    rules = options.rules()
    named = photo_files(files or [])
    measured = [path for path in named if is_measurement(path)]
    both = options.sides([path for path in named if not is_measurement(path)])
    look = options.look(both)
    _check_kinds(sheet or [])
    check_outputs(named, [*(sheet or []), *(() if json_out is None or is_stdout(json_out) else (json_out,))])
    inputs = [*(b.front for b in both), *measured]
    parts, weights = options.parts(inputs), options.weights_g(inputs)

    found: list[Candidate] = []
    unknown: NotGraded = []
    once: dict[str, str] = {}
    code = 0
    for number, sides in enumerate(both, 1):
        name = sides.front.name
        if err.is_terminal:
            err.print(f"{number} of {len(both)} {name}", style="dim", markup=False)
        try:
            seen = look.at(sides, parts[sides.front])
        except (PhotoError, RefusedError) as error:
            show_error(error, name)
            code = code or error.exit_code
            continue
        _once(once, seen.done.photo.sha256, name)
        boards, bad = candidates_of(
            name, seen.boards, rules, parts[sides.front], reduced(seen.done.photo.rgb, MAX_SIDE_PX)
        )
        found += _weighed(boards, bad, weights.get(sides.front), name)
        unknown += bad
    for path in measured:
        here = read_measurements([path])
        for m in here:
            _once(once, m.sha256, m.photo)
        boards = measured_candidates(here, parts[path], options.thickness_mm())
        found += _weighed(boards, [], weights.get(path), path.name)
    for name, refusal in unknown:
        show_error(refusal, name)
    if not found:
        raise typer.Exit(code or RefusedError.exit_code)
    grades = grade_boards(found, prices, wanted, by=options.by)
    _write(grades, wanted, unknown, sheet or [], json_out)
    if not is_stdout(json_out):
        _show(grades, wanted)
        if both:
            say_learned(look.learned, next(iter(parts.values())), "")
    raise typer.Exit(code)


def _weighed(boards: list[Candidate], unknown: NotGraded, weighed_g: float | None, name: str) -> list[Candidate]:
    """The boards with their share of what they weigh together.

    Raises:
        UsageError: ``weighed-outlines``: some outline is not known, so that its share is not either.
    """
    if weighed_g is None or not boards:
        return boards
    if unknown:
        raise UsageError(
            "weighed-outlines",
            f"{name}: not every board's outline is known, so the weight cannot be divided among them.",
            "Photograph these boards apart from each other, or leave their weight out.",
        )
    return with_weight(boards, weighed_g)


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


def _check_kinds(sheets: Sequence[Path]) -> None:
    for path in sheets:
        if path.suffix.lower() not in {".png", ".pdf"}:
            raise UsageError(
                "sheet-kind", f"{path} ends neither in .png nor in .pdf.", "Give it a name such as grades.pdf."
            )


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
    show_table(BOARD_COLUMNS, graded_rows(grades))
    for graded in grades.boards:
        if graded.candidate.why_not is not None:
            out.print(f"{graded.candidate.name}: {graded.candidate.why_not.message}", markup=False)
    rows = cut_part_rows(grades)
    if rows:
        out.print()
        show_table(PART_COLUMNS, rows)
    out.print()
    for line in order_lines(grades):
        out.print(line, markup=False)
    for line in (*grade_notes(grades, thresholds), *lines_for("cut")):
        out.print(line, markup=False, style="yellow")
