"""The sheet of graded boards: a cell with a picture for each, as PNG in one piece or as PDF on pages.

What stands where is laid out once, in mm from the top left, and then drawn by either.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import reportlab
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase.pdfmetrics import registerFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from calibration.errors import RefusedError
from calibration.target import PAPER_MM, Paper
from grader.cautions import lines_for
from grader.grade.model import Graded, Grades
from grader.grade.thresholds import Thresholds
from grader.grade.words import (
    CELL_NOTE,
    CLASS_RGB,
    CLASS_WORDS,
    MEASURE_WORDS,
    cell_lines,
    cut_part_rows,
    grade_notes,
    order_lines,
)

Rgb = tuple[int, int, int]
_BLACK, _WHITE, _PALE = (0, 0, 0), (255, 255, 255), (232, 232, 232)
MARGIN_MM, _COLUMNS, _GAP_MM = 12.0, 3, 5.0
_BAND_MM, _LINE_MM, _CELL_LINES = 6.0, 4.2, 8
_WIDE_MM, _UPRIGHT_MM = 20.0, 44.0  # room for pictures of boards that lie across, and for those that stand
_SIZE_MM, _SMALL_MM, _TITLE_MM = 3.0, 2.8, 5.0
_PX_PER_MM = 6.0
_PNG_WIDTH_MM = 210.0
# letters of the sheet's font are about this wide, as a share of their size
_LETTER = 0.56


@dataclass(frozen=True)
class _Text:
    x: float
    y: float  # of the line's foot
    size: float
    text: str
    rgb: Rgb = _BLACK


@dataclass(frozen=True)
class _Fill:
    x: float
    y: float
    width: float
    height: float
    rgb: Rgb


@dataclass(frozen=True, eq=False)
class _Picture:
    x: float
    y: float
    width: float
    height: float
    rgb: NDArray[np.uint8]


@dataclass
class _Page:
    things: list[_Text | _Fill | _Picture] = field(default_factory=list)
    height: float = 0.0


def sheet_pdf(
    grades: Grades,
    thresholds: Thresholds,
    paper: Paper = "a4",
    not_graded: Sequence[tuple[str, RefusedError]] = (),
) -> bytes:
    """The sheet on pages of paper."""
    width, height = PAPER_MM[paper]
    _font_for_pdf()
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=(width * mm, height * mm), pageCompression=1, invariant=1)
    canvas.setTitle("Boards graded")
    for page in _pages(grades, thresholds, not_graded, width, height):
        for thing in page.things:
            _on_canvas(canvas, thing, height)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def sheet_png(grades: Grades, thresholds: Thresholds, not_graded: Sequence[tuple[str, RefusedError]] = ()) -> bytes:
    """The sheet as one picture."""
    (page,) = _pages(grades, thresholds, not_graded, _PNG_WIDTH_MM, np.inf)
    size = round(_PNG_WIDTH_MM * _PX_PER_MM), round((page.height + MARGIN_MM) * _PX_PER_MM)
    picture = Image.new("RGB", size, _WHITE)
    draw = ImageDraw.Draw(picture)
    for thing in page.things:
        _on_picture(picture, draw, thing)
    buffer = io.BytesIO()
    picture.save(buffer, "PNG")
    return buffer.getvalue()


def _pages(
    grades: Grades,
    thresholds: Thresholds,
    not_graded: Sequence[tuple[str, RefusedError]],
    width: float,
    height: float,
) -> list[_Page]:
    room = width - 2 * MARGIN_MM
    column = (room - (_COLUMNS - 1) * _GAP_MM) / _COLUMNS
    pages = [_Page()]
    pages[0].things.append(_Text(MARGIN_MM, MARGIN_MM + _TITLE_MM, _TITLE_MM, "Boards graded"))
    by = f"Ranked by the gold's value per {MEASURE_WORDS[grades.by]}."
    for n, text in enumerate((by, *textwrap.wrap(CELL_NOTE, int(room / (_SIZE_MM * _LETTER))))):
        pages[0].things.append(_Text(MARGIN_MM, MARGIN_MM + 11 + n * _LINE_MM, _SIZE_MM, text))
    top = MARGIN_MM + 24
    picture_mm = _picture_mm(grades)
    cell_mm = picture_mm + _BAND_MM + _CELL_LINES * _LINE_MM + 3
    for number, graded in enumerate(grades.boards, 1):
        place = (number - 1) % _COLUMNS
        if place == 0 and number > 1:
            top += cell_mm + _GAP_MM
        if place == 0 and top + cell_mm > height - MARGIN_MM:
            pages.append(_Page())
            top = MARGIN_MM
        x = MARGIN_MM + place * (column + _GAP_MM)
        pages[-1].things += _cell(graded, grades.currency, x, top, column, picture_mm)
        pages[-1].height = top + cell_mm
    top = pages[-1].height + _GAP_MM
    for line in _lines_below(grades, thresholds, not_graded):
        for part in textwrap.wrap(line, int(room / (_SIZE_MM * _LETTER))) or [""]:
            if top + _LINE_MM > height - MARGIN_MM:
                pages.append(_Page())
                top = MARGIN_MM
            top += _LINE_MM
            pages[-1].things.append(_Text(MARGIN_MM, top, _SIZE_MM, part))
            pages[-1].height = top
    return pages


def _picture_mm(grades: Grades) -> float:
    """How high pictures may be: boards stand in theirs as in the photo."""
    pictures = [g.candidate.picture for g in grades.boards if g.candidate.picture is not None]
    return _UPRIGHT_MM if any(p.shape[0] > p.shape[1] for p in pictures) else _WIDE_MM


def _cell(
    graded: Graded, currency: str, x: float, y: float, width: float, picture_mm: float
) -> list[_Text | _Fill | _Picture]:
    things: list[_Text | _Fill | _Picture] = [_Fill(x, y, width, picture_mm, _PALE)]
    rgb = graded.candidate.picture
    if rgb is not None:
        k = min(width / rgb.shape[1], picture_mm / rgb.shape[0])
        wide, high = rgb.shape[1] * k, rgb.shape[0] * k
        things.append(_Picture(x + (width - wide) / 2, y + (picture_mm - high) / 2, wide, high, rgb))
    else:
        things.append(_Text(x + 2, y + picture_mm / 2 + 1, _SMALL_MM, "no picture: known from a measurement"))
    band = y + picture_mm
    things.append(_Fill(x, band, width, _BAND_MM, CLASS_RGB[graded.grade]))
    things.append(_Text(x + 2, band + 4.3, 3.6, CLASS_WORDS[graded.grade].capitalize(), _WHITE))
    foot = band + _BAND_MM
    lines = [
        part
        for line in cell_lines(graded, currency)
        for part in textwrap.wrap(line, int(width / (_SMALL_MM * _LETTER)))
    ]
    for line in lines[:_CELL_LINES]:
        foot += _LINE_MM
        things.append(_Text(x, foot, _SMALL_MM, line))
    return things


def _lines_below(grades: Grades, thresholds: Thresholds, not_graded: Sequence[tuple[str, RefusedError]]) -> list[str]:
    parts = cut_part_rows(grades)
    return [
        *order_lines(grades),
        *(["", "Parts:"] if parts else []),
        *(f"{name}: {'; '.join(t for t in texts if t)}" for name, *texts in parts),
        *(["", "Not graded:"] if not_graded else []),
        *(f"{name}: {error.message}" for name, error in not_graded),
        "",
        *grade_notes(grades, thresholds),
        *lines_for("cut"),
    ]


def _on_canvas(canvas: Canvas, thing: _Text | _Fill | _Picture, page_height: float) -> None:
    match thing:
        case _Text():
            canvas.setFillColorRGB(*(c / 255 for c in thing.rgb))
            canvas.setFont(_font_for_pdf(), thing.size * mm)
            canvas.drawString(thing.x * mm, (page_height - thing.y) * mm, thing.text)
        case _Fill():
            canvas.setFillColorRGB(*(c / 255 for c in thing.rgb))
            bottom = page_height - thing.y - thing.height
            canvas.rect(thing.x * mm, bottom * mm, thing.width * mm, thing.height * mm, stroke=0, fill=1)
        case _Picture():
            bottom = page_height - thing.y - thing.height
            image = ImageReader(Image.fromarray(thing.rgb))
            canvas.drawImage(image, thing.x * mm, bottom * mm, thing.width * mm, thing.height * mm)


def _on_picture(picture: Image.Image, draw: ImageDraw.ImageDraw, thing: _Text | _Fill | _Picture) -> None:
    k = _PX_PER_MM
    match thing:
        case _Text():
            draw.text(
                (thing.x * k, thing.y * k), thing.text, font=_font(round(thing.size * k)), fill=thing.rgb, anchor="ls"
            )
        case _Fill():
            right, bottom = (thing.x + thing.width) * k, (thing.y + thing.height) * k
            draw.rectangle((thing.x * k, thing.y * k, right, bottom), fill=thing.rgb)
        case _Picture():
            size = max(1, round(thing.width * k)), max(1, round(thing.height * k))
            small = cv2.resize(thing.rgb, size, interpolation=cv2.INTER_AREA)
            picture.paste(Image.fromarray(small), (round(thing.x * k), round(thing.y * k)))


def _font_file() -> Path:
    """A font with the signs of European languages, which comes with the library that writes our PDFs."""
    return Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"


@cache
def _font(size_px: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(_font_file()), size_px)


@cache
def _font_for_pdf() -> str:
    registerFont(TTFont("Vera", str(_font_file())))
    return "Vera"
