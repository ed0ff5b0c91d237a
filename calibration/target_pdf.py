"""Our printed scale target as a PDF at true size, all vectors."""

from __future__ import annotations

import io

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from calibration.target import CHECK_BAR_MM, PAPER_MM, Paper, PatchPlace, TargetDescription, own_target

# the block starts here, right and down from the page's top-left corner; printers leave some millimetres blank
BLOCK_MM = (15.0, 12.0)
# the check bar's left end and height, from the block's top-left corner
BAR_MM = (26.0, 117.0)
_TICK_MM = 3.0
_LINES = (
    "Print at 100 % (actual size, no fitting to the page). Then measure the bar from tick to tick,",
    "and tell the program its length, so that it knows the true size of this sheet.",
    "Lay this sheet flat, the boards beside the block, nothing on the block. Whole block and boards in the picture,",
    "phone level above them. You may cut along the dashed line and use the block alone.",
)


def target_pdf(paper: Paper) -> bytes:
    """Our target for a paper as a PDF document of one page, to be printed at 100 %.

    Raises:
        UsageError: the paper is not known.
    """
    target = own_target(paper)
    width, height = PAPER_MM[paper]
    buffer = io.BytesIO()
    # invariant: the same target is the same file, byte by byte
    canvas = Canvas(buffer, pagesize=(width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle(f"Scale target, {paper.upper() if paper == 'a4' else 'Letter'}")
    canvas.setViewerPreference("PrintScaling", "None")
    # from here on: millimetres, x right and y up from the block's top-left corner
    canvas.translate(BLOCK_MM[0] * mm, (height - BLOCK_MM[1]) * mm)
    canvas.scale(mm, mm)
    _board(canvas, target)
    for place in target.grey_patches:
        canvas.setFillGray(_grey_level(place))
        _box(canvas, place.x0_mm, place.y0_mm, place.x1_mm, place.y1_mm)
    _bar(canvas)
    _cut_line(canvas, target)
    canvas.setFillGray(0)
    for i, line in enumerate(_LINES):
        canvas.setFont("Courier" if line.startswith("grader") else "Helvetica", 3.1)
        canvas.drawString(0, -(target.outline_mm()[2, 1] + 7 + 4.6 * i), line)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _box(canvas: Canvas, x0: float, y0: float, x1: float, y1: float) -> None:
    """A filled rectangle, y down."""
    canvas.rect(x0, -y1, x1 - x0, y1 - y0, stroke=0, fill=1)


def _board(canvas: Canvas, target: TargetDescription) -> None:
    """Black squares and markers. Runs of black cells in a row are one rectangle, so that no seams can show."""
    canvas.setFillGray(0)
    left, top = target.origin_mm
    side = target.square_mm
    for row in range(target.squares_y):
        for column in range(target.squares_x):
            if (row + column) % 2 == 0:
                x, y = left + column * side, top + row * side
                _box(canvas, x, y, x + side, y + side)
    board = target.board()
    dictionary = board.getDictionary()
    cells = int(dictionary.markerSize) + 2
    cell = target.marker_mm / cells
    for number, corners in zip(np.ravel(board.getIds()), board.getObjPoints(), strict=True):
        x, y = left + float(corners[0][0]), top + float(corners[0][1])
        black = np.asarray(dictionary.generateImageMarker(int(number), cells, 1)) < 128
        _marker(canvas, black, x, y, cell)


def _marker(
    canvas: Canvas, black: np.ndarray[tuple[int, int], np.dtype[np.bool_]], x: float, y: float, cell: float
) -> None:
    """A marker as one black square with its white cells laid over it."""
    count = len(black)
    canvas.setFillGray(0)
    _box(canvas, x, y, x + count * cell, y + count * cell)
    canvas.setFillGray(1)
    for row, line in enumerate(~black):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], line.astype(np.int8), [0]])))
        for start, end in edges.reshape(-1, 2):
            _box(canvas, x + start * cell, y + row * cell, x + end * cell, y + (row + 1) * cell)
    canvas.setFillGray(0)


def _grey_level(place: PatchPlace) -> float:
    """The grey with which a printer set for sRGB gives a patch's reflectance (IEC 61966-2-1)."""
    r = place.reflectance
    return float(12.92 * r if r <= 0.0031308 else 1.055 * r ** (1 / 2.4) - 0.055)


def _bar(canvas: Canvas) -> None:
    """The check bar: its length runs between the outer edges of the two ticks."""
    x, y = BAR_MM
    canvas.setFillGray(0)
    _box(canvas, x, y - 0.2, x + CHECK_BAR_MM, y + 0.2)
    for edge in (x, x + CHECK_BAR_MM - 0.3):
        _box(canvas, edge, y - _TICK_MM, edge + 0.3, y + _TICK_MM)
    canvas.setFont("Helvetica", 3.1)
    canvas.drawString(x + 1.5, -(y + 4.6), f"{CHECK_BAR_MM:g} mm between the outer edges of the ticks")


def _cut_line(canvas: Canvas, target: TargetDescription) -> None:
    low, _, high, _ = target.outline_mm()
    canvas.setStrokeGray(0.6)
    canvas.setLineWidth(0.15)
    canvas.setDash(2, 2)
    canvas.rect(low[0], -high[1], high[0] - low[0], high[1] - low[1], stroke=1, fill=0)
    canvas.setDash()
