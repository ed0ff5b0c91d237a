"""``grader cut``: where to cut boards before they go into the acid."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from calibration.errors import PhotoError, RefusedError
from grader.cautions import lines_for
from grader.cli.cut_options import CutOptions
from grader.cli.learned import say_learned
from grader.cli.options import with_options
from grader.cli.output import err, is_stdout, out, show_error, write_json, write_whole
from grader.cli.photos import photo_files
from grader.cli.pictures import check_outputs, pictures_of
from grader.cut import PlannedBoard, plan_boards
from grader.cut.picture import cut_overlay_png
from grader.cut.words import cut_document, cut_lines, cut_notes, refused_document

Named = tuple[str, PlannedBoard]


@with_options(CutOptions)
def cut(
    options: CutOptions,
    photos: Annotated[
        list[Path],
        typer.Argument(
            help="Photos of whole boards, a finger's width apart; folders of them, or patterns.", show_default=False
        ),
    ],
    overlay: Annotated[
        Path | None, typer.Option(help="Write the photo with the cuts drawn, PNG; for several photos, a folder.")
    ] = None,
    template: Annotated[Path | None, typer.Option(help="Write a template at true size with check bar, PDF.")] = None,
    paper: Annotated[Literal["a4", "letter"], typer.Option(help="Paper of the template.")] = "a4",
    json_out: Annotated[Path | None, typer.Option("--json", help="Write the plan here (- prints it).")] = None,
) -> None:
    """Plan straight cuts that keep the gold and throw the bare board away, so that the pieces fit the vessel.

    With --back, gold on both faces counts; --corrections belong to the photo of the fronts. A board that cannot be
    planned does not stop the others.

    Exit codes: 0 some board was planned, 2 wrong use or not a photo, 3 refused.

    Example: grader cut boards.jpg --overlay cuts.png --template cuts.pdf

    Example: grader cut front.jpg --back back.jpg --turned sideways --json plan.json
    """
    rules, both = options.rules(), options.sides(photo_files(photos))
    look = options.look(both)
    pictures = pictures_of([b.front for b in both], {"overlay": overlay}, "cuts")
    inputs = [path for b in both for path in (b.front, b.back) if path is not None]
    check_outputs(inputs, [*pictures, *(p for p in (template, json_out) if p is not None and not is_stdout(p))])

    documents: list[dict[str, Any]] = []
    planned: list[Named] = []
    code = 0
    for number, sides in enumerate(both):
        name = sides.front.name
        if err.is_terminal:
            err.print(f"{number + 1} of {len(both)} {name}", style="dim", markup=False)
        try:
            seen = look.at(sides)
        except (PhotoError, RefusedError) as error:
            show_error(error, name)
            documents.append(refused_document(name, error))
            code = code or error.exit_code
            continue
        boards = plan_boards(seen.boards, rules)
        documents.append(cut_document(name, boards, seen.back))
        about = f"{name}, board" if len(both) > 1 else "Board"
        planned += [(f"{about} {i}", b) for i, b in enumerate(boards, 1) if isinstance(b, PlannedBoard)]
        if pictures:
            write_whole(pictures[number], cut_overlay_png(seen.done, boards))
        for i, refusal in enumerate(boards, 1):
            if isinstance(refusal, RefusedError):
                show_error(refusal, f"{name}, board {i}")
    if template is not None and planned:
        code = code or _write_template(template, planned, paper)
    if json_out is not None:
        write_json(json_out, *documents)
    if not is_stdout(json_out):
        _show(planned)
        say_learned(look.learned, "", "")
    if not planned:
        code = code or RefusedError.exit_code
    raise typer.Exit(code)


def _write_template(path: Path, planned: Sequence[Named], paper: Literal["a4", "letter"]) -> int:
    """Write the boards that fit the paper; return 3 if none does."""
    # reportlab is slow to load, and only this needs it
    from grader.cut.template import check_paper, template_pdf

    fitting: list[Named] = []
    for name, board in planned:
        try:
            check_paper(name, board, paper)
        except RefusedError as error:
            show_error(error)
        else:
            fitting.append((name, board))
    if not fitting:
        return RefusedError.exit_code
    write_whole(path, template_pdf(fitting, paper))
    return 0


def _show(planned: Sequence[Named]) -> None:
    for name, board in planned:
        out.print(name, style="bold", markup=False)
        for line in cut_lines(board):
            out.print(f"  {line}", markup=False)
    for line in (*(cut_notes(board for _, board in planned) if planned else ()), *lines_for("cut")):
        out.print(line, markup=False, style="yellow")
