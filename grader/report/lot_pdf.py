"""A lot's report as a PDF for paper."""

from __future__ import annotations

import io
from functools import partial
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Image, KeepTogether, Paragraph, SimpleDocTemplate, Spacer
from reportlab.platypus import Table as PdfTable

from calibration.target import PAPER_MM, Paper
from grader.report.blocks import Block, Caveat, Heading, Picture, Text
from grader.report.lot_report import LotReport
from grader.table import Table
from grader.valuation import VISIBLE_PLATING_ONLY

_MARGIN_MM, _FOOT_MM, _PICTURE_MOST_MM = 16.0, 10.0, 100.0
# the fonts that every PDF reader has know these characters alone
_ENCODING = "cp1252"
LACKING = "This paper's letters do not hold all characters of the names; ? stands for the others. HTML shows them."

_TITLE = ParagraphStyle("title", fontName="Helvetica-Bold", fontSize=18, leading=22, spaceAfter=2)
_HEADS = {
    1: ParagraphStyle(
        "h1", fontName="Helvetica-Bold", fontSize=13, leading=17, spaceBefore=12, spaceAfter=4, keepWithNext=1
    ),
    2: ParagraphStyle(
        "h2", fontName="Helvetica-Bold", fontSize=11, leading=14, spaceBefore=8, spaceAfter=3, keepWithNext=1
    ),
}
_TEXT = ParagraphStyle("text", fontName="Helvetica", fontSize=9, leading=12, spaceAfter=3)
_STRONG = ParagraphStyle("strong", parent=_TEXT, fontName="Helvetica-Bold", fontSize=10, leading=13)
_CELL = ParagraphStyle("cell", fontName="Helvetica", fontSize=8.5, leading=10.5)
_COLUMN = ParagraphStyle("column", parent=_CELL, fontName="Helvetica-Bold")
_RULES = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.Color(0.75, 0.75, 0.75)),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 6),
    ("TOPPADDING", (0, 0), (-1, -1), 2),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
]


def lot_pdf(report: LotReport, paper: Paper = "a4") -> bytes:
    """The report as a PDF document; what the figures leave out stands at the foot of every page."""
    width, height = PAPER_MM[paper]
    room = width - 2 * _MARGIN_MM
    buffer = io.BytesIO()
    document = SimpleDocTemplate(
        buffer,
        pagesize=(width * mm, height * mm),
        leftMargin=_MARGIN_MM * mm,
        rightMargin=_MARGIN_MM * mm,
        topMargin=_MARGIN_MM * mm,
        bottomMargin=(_MARGIN_MM + _FOOT_MM) * mm,
        title=report.title,
        invariant=1,
    )
    blocks = report.blocks()
    story: list[Flowable] = [_paragraph(report.title, _TITLE), _paragraph(report.made_on.isoformat(), _TEXT)]
    if not _is_known(report.title) or not all(map(_is_known, _texts(blocks))):
        story.append(_paragraph(LACKING, _TEXT))
    for block in blocks:
        story.extend(_flowables(block, room))
    foot = partial(_foot, width=width)
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return buffer.getvalue()


def _flowables(block: Block, room_mm: float) -> list[Flowable]:
    match block:
        case Heading():
            return [_paragraph(block.text, _HEADS[block.level])]
        case Text():
            return [_paragraph(block.text, _STRONG if block.is_strong else _TEXT)]
        case Caveat():
            return [_paragraph(f"{block.message} {block.advice}", _TEXT)]
        case Table():
            return _table(block, room_mm)
        case Picture():
            return [_picture(block, room_mm)]


def _table(table: Table, room_mm: float) -> list[Flowable]:
    has_heads = any(table.columns)
    cells = [[_paragraph(text, _CELL) for text in row] for row in table.rows]
    if has_heads:
        cells.insert(0, [_paragraph(text, _COLUMN) for text in table.columns])
    if not cells:
        return []
    widths = [share * room_mm * mm for share in _shares(table)]
    drawn = PdfTable(
        cells,
        colWidths=widths,
        style=_RULES,
        repeatRows=int(has_heads),
        hAlign="LEFT",
        spaceBefore=0 if table.title else 3,
        spaceAfter=6,
    )
    if not table.title:
        return [drawn]  # nothing may come between it and a heading above, which stays with what follows
    title = _paragraph(table.title, _HEADS[2])
    # a short table stays on one page with its title
    return [KeepTogether([title, drawn])] if len(cells) <= 12 else [title, drawn]


def _shares(table: Table) -> list[float]:
    """Widths of the columns as shares of the room: by their longest text, within bounds."""
    lines = [row for row in (table.columns, *table.rows) if any(row)]
    longest = [min(max(7, *(len(row[i]) for row in lines)), 60) for i in range(len(lines[0]))]
    return [n / sum(longest) for n in longest]


def _picture(picture: Picture, room_mm: float) -> Flowable:
    k = min(room_mm / picture.width_px, _PICTURE_MOST_MM / picture.height_px)
    image = Image(io.BytesIO(picture.jpeg), picture.width_px * k * mm, picture.height_px * k * mm, hAlign="LEFT")
    return KeepTogether([Spacer(1, 4), image, _paragraph(picture.caption or picture.alt, _TEXT)])


def _paragraph(text: str, style: ParagraphStyle) -> Paragraph:
    """Text as it is: typed names may hold what reportlab takes for markup."""
    return Paragraph(escape(_in_letters(text)), style)


def _is_known(text: str) -> bool:
    return _in_letters(text) == _with_dash(text)


def _in_letters(text: str) -> str:
    return _with_dash(text).encode(_ENCODING, "replace").decode(_ENCODING)


def _with_dash(text: str) -> str:
    """These fonts have no minus sign; an en dash looks the same."""
    return text.replace("\N{MINUS SIGN}", "\N{EN DASH}")


def _texts(blocks: tuple[Block, ...]) -> list[str]:
    found: list[str] = []
    for block in blocks:
        match block:
            case Heading() | Text():
                found.append(block.text)
            case Caveat():
                found += [block.message, block.advice]
            case Table():
                found += [block.title, *block.columns, *(cell for row in block.rows for cell in row)]
            case Picture():
                found.append(block.caption or block.alt)
    return found


def _foot(canvas: Canvas, document: SimpleDocTemplate, width: float) -> None:
    canvas.saveState()
    foot = Paragraph(VISIBLE_PLATING_ONLY, _CELL)
    foot.wrapOn(canvas, (width - 2 * _MARGIN_MM - 16) * mm, 20 * mm)
    foot.drawOn(canvas, _MARGIN_MM * mm, _MARGIN_MM * mm - 4)
    canvas.setFont("Helvetica", 8.5)
    canvas.drawRightString((width - _MARGIN_MM) * mm, _MARGIN_MM * mm, str(document.page))
    canvas.restoreState()
