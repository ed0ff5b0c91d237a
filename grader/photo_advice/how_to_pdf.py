"""One printable page: how to photograph boards."""

from __future__ import annotations

import io

from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Paragraph

from calibration.target import PAPER_MM, Paper
from grader.photo_advice.drawings import HEIGHT, WIDTH, drawing
from grader.photo_advice.how import HOW
from grader.photo_advice.model import CHECKS
from grader.photo_advice.shapes import RGB, Role, Shape

TITLE = "How to photograph boards"
STEPS = (
    "Print the scale target at 100 %, measure its 100 mm bar, and store the length. Do it once for each printer.",
    "Lay the boards flat on a plain ground of another colour, a finger's width apart, the target beside them.",
    "Turn the boards over and photograph the other faces, too: gold that no photo shows is not counted.",
)
FOOT = "A photo shows plated area, not how thick the plating is, nor gold inside packages."

_MARGIN_MM, _GUTTER_MM, _COLUMNS, _ROW_MM = 15.0, 8.0, 2, 67.0
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=11, leading=14)
_HEAD = ParagraphStyle("head", fontName="Helvetica-Bold", fontSize=13, leading=17)
_TITLE = ParagraphStyle("title", fontName="Helvetica-Bold", fontSize=20, leading=26)


def how_to_pdf(paper: Paper) -> bytes:
    """A PDF document of one page with a drawing and a sentence for each check."""
    width, height = PAPER_MM[paper]
    buffer = io.BytesIO()
    # invariant: the same page is the same file, byte by byte
    canvas = Canvas(buffer, pagesize=(width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle(TITLE)
    column = (width - 2 * _MARGIN_MM - (_COLUMNS - 1) * _GUTTER_MM) / _COLUMNS
    top = height - _MARGIN_MM
    top = _write(canvas, TITLE, _TITLE, _MARGIN_MM, top, width - 2 * _MARGIN_MM) - 2
    for number, step in enumerate(STEPS, 1):
        top = _write(canvas, f"{number}. {step}", _TEXT, _MARGIN_MM, top, width - 2 * _MARGIN_MM) - 1
    top -= 4
    for number, name in enumerate(CHECKS):
        left = _MARGIN_MM + (number % _COLUMNS) * (column + _GUTTER_MM)
        y = top - (number // _COLUMNS) * _ROW_MM
        y = _write(canvas, HOW[name].title, _HEAD, left, y, column) - 1
        y = _draw(canvas, drawing(name), left, y, column) - 1.5
        _write(canvas, HOW[name].advice, _TEXT, left, y, column)
    _write(canvas, FOOT, _TEXT, _MARGIN_MM, _MARGIN_MM + 2, width - 2 * _MARGIN_MM)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _write(canvas: Canvas, text: str, style: ParagraphStyle, left: float, top: float, width: float) -> float:
    """Wrapped text below ``top``, all in mm; where its last line ends."""
    paragraph = Paragraph(text, style)
    _, tall = paragraph.wrapOn(canvas, width * mm, 1000 * mm)
    paragraph.drawOn(canvas, left * mm, top * mm - tall)
    return float(top - tall / mm)


def _draw(canvas: Canvas, shapes: list[Shape], left: float, top: float, width: float) -> float:
    k = width / WIDTH
    canvas.saveState()
    canvas.translate(left * mm, top * mm)
    canvas.scale(k * mm, -k * mm)
    clip = canvas.beginPath()
    clip.rect(0, 0, WIDTH, HEIGHT)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setLineCap(1)
    canvas.setLineJoin(1)
    for shape in shapes:
        _shape(canvas, shape)
    canvas.restoreState()
    return top - k * HEIGHT


def _shape(canvas: Canvas, shape: Shape) -> None:
    path = canvas.beginPath()
    path.moveTo(*shape.points[0])
    for point in shape.points[1:]:
        path.lineTo(*point)
    if shape.closed:
        path.close()
    if shape.fill is not None:
        canvas.setFillColorRGB(*_rgb(shape.fill), alpha=shape.opacity)
    if shape.line is not None:
        canvas.setStrokeColorRGB(*_rgb(shape.line), alpha=shape.opacity)
        canvas.setLineWidth(shape.width)
    canvas.drawPath(path, stroke=int(shape.line is not None), fill=int(shape.fill is not None))


def _rgb(role: Role) -> tuple[float, float, float]:
    red, green, blue = RGB[role]
    return red / 255, green / 255, blue / 255
