"""A cut plan as a PDF at true size: to be laid on the photographed face, cut where the lines are."""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calibration.errors import RefusedError
from calibration.target import CHECK_BAR_MM, PAPER_MM, Paper
from grader.cautions import lines_for
from grader.cut.choose import PlannedBoard
from grader.cut.picture import corners_of, line_of
from grader.cut.words import cut_lines, notes_of

MARGIN_MM = 12.0
# top of the board's drawing and the check bar, from the page's top
BOARD_TOP_MM, BAR_TOP_MM = 46.0, 32.0
_TICK_MM, _LINE_MM = 2.0, 3.6
_LEAST_BELOW_MM = 12.0


def template_pdf(boards: Sequence[tuple[str, PlannedBoard]], paper: Paper) -> bytes:
    """A page for each board, with a check bar; its list and all cautions follow on pages of their own.

    Args:
        boards: each with its name.
        paper: to print on.

    Raises:
        RefusedError: a board is larger than the paper.
    """
    width, height = PAPER_MM[paper]
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle("Where to cut")
    canvas.setViewerPreference("PrintScaling", "None")
    for name, planned in boards:
        _board_page(canvas, planned, name, paper)
    for name, planned in boards:
        _text_page(canvas, [name, *cut_lines(planned), "", *notes_of([planned]), *lines_for("cut")], height)
    canvas.save()
    return buffer.getvalue()


def check_paper(name: str, planned: PlannedBoard, paper: Paper) -> None:
    """Whether a page can hold a board at true size.

    Raises:
        RefusedError: ``template-too-large``.
    """
    length, across = planned.board.size_mm
    wide, high = _room(paper)
    if (across if _upright(planned, paper) else length) > wide or (
        length if _upright(planned, paper) else across
    ) > high:
        raise RefusedError(
            "template-too-large",
            f"{name} is {length:.0f} × {across:.0f} mm, larger than the paper.",
            "Use the list of positions from the named edges; for smaller boards a template can be made.",
        )


def _room(paper: Paper) -> tuple[float, float]:
    width, height = PAPER_MM[paper]
    return width - 2 * MARGIN_MM, height - BOARD_TOP_MM - _LEAST_BELOW_MM


def _upright(planned: PlannedBoard, paper: Paper) -> bool:
    """Whether the board is drawn with its length down the page."""
    return planned.board.size_mm[0] > _room(paper)[0]


def _board_page(canvas: Canvas, planned: PlannedBoard, name: str, paper: Paper) -> None:
    check_paper(name, planned, paper)
    across, upright = planned.board.size_mm[1], _upright(planned, paper)
    height = PAPER_MM[paper][1]
    canvas.saveState()
    canvas.translate(MARGIN_MM * mm, height * mm)
    canvas.scale(mm, mm)
    _text(canvas, f"{name}: print at 100 %, no fitting to the page; check that the bar is 100 mm long.", 14)
    edge = f"The {planned.board.edges[0]} edge in the photo is the {'top' if upright else 'left'} edge here."
    _text(canvas, f"{edge} Lay it on the face in the (front) photo. Grey: thrown.", 19)
    _text(canvas, lines_for("cut")[0], 24)  # the page may be taken to the shear alone
    _bar(canvas)
    # from here: the board's axes, u right or down, v down or left, so that the face is never mirrored
    canvas.translate(across if upright else 0.0, -BOARD_TOP_MM)
    canvas.transform(*((0, -1, -1, 0, 0, 0) if upright else (1, 0, 0, -1, 0, 0)))
    canvas.setLineWidth(0.2)
    canvas.setFillGray(0.85)
    for piece in planned.plan.pieces:
        if not piece.kept:
            _path(canvas, corners_of(piece), stroke=0, fill=1)
    canvas.setStrokeGray(0)
    _path(canvas, planned.board.outline_uv, stroke=1, fill=0)
    canvas.setStrokeColorRGB(0.9, 0, 0)
    for cut in planned.plan.cuts:
        (x0, y0), (x1, y1) = line_of(cut)
        canvas.line(x0, y0, x1, y1)
    canvas.restoreState()
    canvas.showPage()


def _bar(canvas: Canvas) -> None:
    """The check bar: its length runs between the outer edges of the two ticks."""
    canvas.setFillGray(0)
    canvas.rect(0, -BAR_TOP_MM - 0.2, CHECK_BAR_MM, 0.4, stroke=0, fill=1)
    for x in (0.0, CHECK_BAR_MM - 0.3):
        canvas.rect(x, -BAR_TOP_MM - _TICK_MM, 0.3, 2 * _TICK_MM, stroke=0, fill=1)


def _path(
    canvas: Canvas, points: np.ndarray[tuple[int, ...], np.dtype[np.float64]], *, stroke: int, fill: int
) -> None:
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for point in points[1:]:
        path.lineTo(*point)
    path.close()
    canvas.drawPath(path, stroke=stroke, fill=fill)


def _text(canvas: Canvas, text: str, top: float) -> None:
    canvas.setFillGray(0)
    canvas.setFont("Helvetica", 3.2)
    canvas.drawString(0, -top, text)


def _text_page(canvas: Canvas, lines: Sequence[str], height: float) -> None:
    canvas.saveState()
    canvas.translate(MARGIN_MM * mm, height * mm)
    canvas.scale(mm, mm)
    top = 16.0
    for line in lines:
        for part in _wrapped(line):
            _text(canvas, part, top)
            top += _LINE_MM * 1.3
            if top > height - MARGIN_MM:
                canvas.restoreState()
                canvas.showPage()
                canvas.saveState()
                canvas.translate(MARGIN_MM * mm, height * mm)
                canvas.scale(mm, mm)
                top = 16.0
    canvas.restoreState()
    canvas.showPage()


def _wrapped(line: str, most: int = 110) -> list[str]:
    return textwrap.wrap(line, most) or [""]
