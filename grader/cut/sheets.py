"""Boards laid out on sheets of paper at true size, each the way round that it has in its photo."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.errors import RefusedError
from calibration.target import PAPER_MM, Paper
from grader.cut.board import CutBoard

MARGIN_MM = 11.0
# top of the first boards' blocks from a page's top; a block begins with a board's name
BLOCK_TOP_MM = 42.0
# room in a block above, below and on both sides of a board, for its name and the names of its edges
ABOVE_MM, BELOW_MM, BESIDE_MM = 12.0, 7.0, 3.8
_FOOT_MM = 10.0


@dataclass(frozen=True)
class PlacedBoard:
    """A board on a page.

    Attributes:
        number: of the board in the order in which boards were given.
        left_mm: the left of the board's drawing, from the page's left.
        top_mm: its top, from the page's top.
    """

    number: int
    left_mm: float
    top_mm: float


@dataclass(frozen=True)
class TemplatePage:
    """A page: its size, and what is drawn on it."""

    width_mm: float
    height_mm: float
    blocks: tuple[PlacedBoard, ...]


def upright(board: CutBoard) -> bool:
    """Whether a board's length runs down its photo."""
    return board.edges[0] == "top"


def drawn_mm(board: CutBoard) -> tuple[float, float]:
    """How wide and how high a board is as its photo shows it."""
    length, width = board.size_mm
    return (width, length) if upright(board) else (length, width)


def fits_paper(board: CutBoard, paper: Paper) -> bool:
    """Whether a sheet, one way round or the other, holds a board at true size."""
    return any(_fits(board, page) for page in _pages(paper))


def laid_out(boards: Sequence[CutBoard], paper: Paper) -> tuple[TemplatePage, ...]:
    """The boards in their order, as many to a sheet as it holds; wide ones on sheets laid across.

    Raises:
        RefusedError: ``template-too-large``.
    """
    portrait, landscape = _pages(paper)
    for board in boards:
        if not fits_paper(board, paper):
            raise RefusedError(
                "template-too-large",
                f"A board of {drawn_mm(board)[0]:.0f} × {drawn_mm(board)[1]:.0f} mm is larger than the paper.",
                "Use the list of positions from the named edges; for smaller boards a template can be made.",
            )
    high = [n for n, board in enumerate(boards) if _fits(board, portrait)]
    wide = [n for n in range(len(boards)) if n not in high]
    return (*_filled(boards, high, portrait), *_filled(boards, wide, landscape))


def _pages(paper: Paper) -> tuple[tuple[float, float], tuple[float, float]]:
    width, height = PAPER_MM[paper]
    return (width, height), (height, width)


def _fits(board: CutBoard, page: tuple[float, float]) -> bool:
    width, height = _block(board)
    return width <= page[0] - 2 * MARGIN_MM and height <= page[1] - BLOCK_TOP_MM - _FOOT_MM


def _block(board: CutBoard) -> tuple[float, float]:
    width, height = drawn_mm(board)
    return width + 2 * BESIDE_MM, height + ABOVE_MM + BELOW_MM


def _filled(boards: Sequence[CutBoard], numbers: Sequence[int], page: tuple[float, float]) -> list[TemplatePage]:
    """Sheets filled in rows from the top, a row in columns from the left, a column as deep as its row."""
    found: list[TemplatePage] = []
    blocks: list[PlacedBoard] = []
    row_top = row_bottom = column_top = BLOCK_TOP_MM
    column_left = column_right = MARGIN_MM
    for number in numbers:
        width, height = _block(boards[number])
        under = column_left + width <= column_right and column_top + height <= row_bottom
        if not under and column_right + width <= page[0] - MARGIN_MM:
            column_left, column_top = column_right, row_top
        elif not under:
            column_left = column_right = MARGIN_MM
            row_top = column_top = row_bottom
        if column_top + height > page[1] - _FOOT_MM:
            found.append(TemplatePage(*page, tuple(blocks)))
            blocks = []
            row_top = row_bottom = column_top = BLOCK_TOP_MM
            column_left = column_right = MARGIN_MM
        blocks.append(PlacedBoard(number, column_left + BESIDE_MM, column_top + ABOVE_MM))
        column_right, column_top = max(column_right, column_left + width), column_top + height
        row_bottom = max(row_bottom, column_top)
    return [*found, TemplatePage(*page, tuple(blocks))] if blocks else found
