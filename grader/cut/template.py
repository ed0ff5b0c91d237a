"""Cut plans as a PDF at true size: to be laid on the photographed faces, cut where the lines are."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calibration.arrays import FloatArray
from calibration.errors import RefusedError
from calibration.target import CHECK_BAR_MM, PAPER_MM, Paper
from grader.cautions import lines_for
from grader.cut.choose import PlannedBoard
from grader.cut.picture import corners_of, line_of, number_at
from grader.cut.sheets import MARGIN_MM, PlacedBoard, TemplatePage, drawn_mm, fits_paper, laid_out, upright
from grader.cut.words import cut_lines, cut_notes

BAR_TOP_MM = 32.0
_TICK_MM, _LINE_MM = 2.0, 3.6
_TEXT_MM, _NUMBER_MM = 3.2, 2.6


def template_pdf(boards: Sequence[tuple[str, PlannedBoard]], paper: Paper) -> bytes:
    """Boards at true size, several to a page, with a check bar; their lists and all cautions follow on other pages.

    Args:
        boards: each with its name.
        paper: to print on.

    Raises:
        RefusedError: a board is larger than the paper.
    """
    for name, planned in boards:
        check_paper(name, planned, paper)
    width, height = PAPER_MM[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle("Where to cut")
    canvas.setViewerPreference("PrintScaling", "None")
    for sheet in laid_out([planned.board for _, planned in boards], paper):
        _sheet(canvas, sheet, boards)
    canvas.setPageSize((width * mm, height * mm))
    lines = [line for name, planned in boards for line in (name, *cut_lines(planned), "")]
    _text_page(canvas, [*lines, *cut_notes(planned for _, planned in boards), *lines_for("cut")], height)
    canvas.save()
    return buffer.getvalue()


def check_paper(name: str, planned: PlannedBoard, paper: Paper) -> None:
    """Whether a page can hold a board at true size.

    Raises:
        RefusedError: ``template-too-large``.
    """
    if not fits_paper(planned.board, paper):
        length, across = planned.board.size_mm
        raise RefusedError(
            "template-too-large",
            f"{name} is {length:.0f} × {across:.0f} mm, larger than the paper.",
            "Use the list of positions from the named edges; for smaller boards a template can be made.",
        )


def _sheet(canvas: Canvas, sheet: TemplatePage, boards: Sequence[tuple[str, PlannedBoard]]) -> None:
    canvas.setPageSize((sheet.width_mm * mm, sheet.height_mm * mm))
    canvas.saveState()
    canvas.translate(0, sheet.height_mm * mm)
    canvas.scale(mm, mm)
    _text(canvas, "Print at 100 %, no fitting to the page; check that the bar is 100 mm long.", 14)
    _text(canvas, "Edges as in the (front) photo: lay each drawing on the face that it shows. Grey: thrown.", 19)
    _text(canvas, lines_for("cut")[0], 24)  # the page may be taken to the shear alone
    _bar(canvas)
    for block in sheet.blocks:
        _block(canvas, block, *boards[block.number])
    canvas.restoreState()
    canvas.showPage()


def _block(canvas: Canvas, block: PlacedBoard, name: str, planned: PlannedBoard) -> None:
    """A board as its photo shows it: its name above, the names of its edges about it, its cuts numbered."""
    board = planned.board
    width, height = drawn_mm(board)
    canvas.saveState()
    canvas.translate(block.left_mm, -block.top_mm)
    _text(canvas, name, -7.0, 0.0)
    canvas.setFontSize(_NUMBER_MM)
    canvas.drawCentredString(width / 2, 1.5, "top")
    canvas.drawCentredString(width / 2, -height - 3.5, "bottom")
    for x, edge in ((-1.2, "left"), (width + 3.0, "right")):
        canvas.saveState()
        canvas.translate(x, -height / 2)
        canvas.rotate(90)
        canvas.drawCentredString(0, 0, edge)
        canvas.restoreState()
    # from here: the board's axes, u right and v down, or u down and v left, so that the face is never mirrored
    if upright(board):
        canvas.translate(width, 0)
    canvas.transform(*((0, -1, -1, 0, 0, 0) if upright(board) else (1, 0, 0, -1, 0, 0)))
    canvas.setLineWidth(0.2)
    canvas.setFillGray(0.85)
    for piece in planned.plan.pieces:
        if not piece.kept:
            _path(canvas, corners_of(piece), stroke=0, fill=1)
    canvas.setStrokeGray(0)
    _path(canvas, board.outline_uv, stroke=1, fill=0)
    canvas.setStrokeColorRGB(0.9, 0, 0)
    for cut in planned.plan.cuts:
        (x0, y0), (x1, y1) = line_of(cut)
        canvas.line(x0, y0, x1, y1)
    canvas.restoreState()
    _numbers(canvas, block, planned)


def _numbers(canvas: Canvas, block: PlacedBoard, planned: PlannedBoard) -> None:
    """The cuts' numbers, upright whichever way the board lies."""
    canvas.saveState()
    canvas.setFont("Helvetica-Bold", _NUMBER_MM)
    width, _ = drawn_mm(planned.board)
    for number, cut in enumerate(planned.plan.cuts, 1):
        u, v = number_at(cut, number).tolist()
        x, y = (width - v, u) if upright(planned.board) else (u, v)
        canvas.setFillGray(1)
        canvas.circle(block.left_mm + x, -block.top_mm - y, 0.75 * _NUMBER_MM, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.drawCentredString(block.left_mm + x, -block.top_mm - y - 0.35 * _NUMBER_MM, str(number))
    canvas.restoreState()


def _bar(canvas: Canvas) -> None:
    """The check bar: its length runs between the outer edges of the two ticks."""
    canvas.setFillGray(0)
    canvas.rect(MARGIN_MM, -BAR_TOP_MM - 0.2, CHECK_BAR_MM, 0.4, stroke=0, fill=1)
    for x in (MARGIN_MM, MARGIN_MM + CHECK_BAR_MM - 0.3):
        canvas.rect(x, -BAR_TOP_MM - _TICK_MM, 0.3, 2 * _TICK_MM, stroke=0, fill=1)


def _path(canvas: Canvas, points: FloatArray, *, stroke: int, fill: int) -> None:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _text(canvas: Canvas, text: str, top: float, left: float = MARGIN_MM) -> None:
    canvas.setFillGray(0)
    canvas.setFont("Helvetica", _TEXT_MM)
    canvas.drawString(left, -top, text)


def _text_page(canvas: Canvas, lines: Sequence[str], height: float) -> None:
    top = height  # so that the first line begins a page
    first = True
    for part in (part for line in lines for part in _wrapped(line)):
        if top > height - MARGIN_MM:
            if not first:
                canvas.restoreState()
                canvas.showPage()
            canvas.saveState()
            canvas.translate(0, height * mm)
            canvas.scale(mm, mm)
            top, first = 16.0, False
        _text(canvas, part, top)
        top += _LINE_MM * 1.3
    canvas.restoreState()
    canvas.showPage()


def _wrapped(line: str, most: int = 110) -> list[str]:
    return textwrap.wrap(line, most) or [""]
