"""Plans for boards, with mass and gold of each piece as ranges."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.errors import RefusedError
from grader.cut.board import CutBoard
from grader.cut.cheapest import plan_cuts
from grader.cut.plan import Piece, Plan
from grader.cut.rules import CutRules, Through
from grader.model import ProductModel

# the camera's share of the clearance: so many standard uncertainties of a place on the board
_SURE = 2.0
_MUCH_LESS = 0.6
_WAYS: tuple[Through, ...] = ("nothing", "plating")


@dataclass(frozen=True, eq=False)
class PlannedPiece:
    """A piece with its mass in g and gold in mg, as models whose inputs all pieces share.

    What a saw's kerf takes belongs to no piece.
    """

    piece: Piece
    mass_g: ProductModel
    gold_mg: ProductModel


@dataclass(frozen=True, eq=False)
class PlannedBoard:
    """A board, its plan, and what each piece holds.

    Attributes:
        board: in its own axes.
        rules: that the plan keeps; the clearance includes the camera's share.
        plan: cuts and pieces.
        pieces: as in the plan.
        by_eye: the clearance leaves the camera's share out: cut where the gap is seen, not by measure alone.
    """

    board: CutBoard
    rules: CutRules
    plan: Plan
    pieces: tuple[PlannedPiece, ...]
    by_eye: bool = False


def plan_boards(
    boards: Sequence[CutBoard | RefusedError], rules: CutRules
) -> tuple[PlannedBoard | RefusedError, ...]:
    """A plan, or why there is none, for each board; what is refused already stays so."""
    found: list[PlannedBoard | RefusedError] = []
    for board in boards:
        try:
            found.append(board if isinstance(board, RefusedError) else plan_board(board, rules))
        except RefusedError as error:
            found.append(error)
    return tuple(found)


def plan_board(board: CutBoard, rules: CutRules) -> PlannedBoard:
    """The cheapest plan for one board.

    Raises:
        RefusedError: ``no-gold-to-keep``, ``vessel-below-contact``, ``no-cut-fits``.
    """
    if board.grid.gold_total_mg <= 0:
        other = "" if len(board.faces) > 1 else ", or photograph its other face"
        raise RefusedError(
            "no-gold-to-keep", "No gold plating was found on this board.", f"Leave it out of the batch{other}."
        )
    if board.contact_mm is not None and not rules.fit.fits(*board.contact_mm):
        raise RefusedError(
            "vessel-below-contact",
            f"The largest contact is {board.contact_mm[0]:.1f} mm long: even that alone would not fit.",
            "Choose a larger vessel, or allow longer pieces.",
        )
    clear = replace(rules, clearance_mm=rules.clearance_mm + _SURE * board.uncertainty_mm)
    for through in ("contacts",) if rules.through == "contacts" else _WAYS:
        by_measure = plan_cuts(board.grid, replace(clear, through=through))
        # by eye only where no place is sure enough to be measured, or much would be saved
        much_less = _MUCH_LESS * by_measure.cost if by_measure is not None else math.inf
        by_eye = plan_cuts(board.grid, replace(rules, through=through), cheaper_than=much_less)
        eye = by_eye is not None
        plan = by_eye if eye else by_measure
        if plan is not None:
            pieces = tuple(describe(board, p) for p in plan.pieces)
            way = replace(rules if eye else clear, through=through)
            return PlannedBoard(board, way, plan, pieces, by_eye=eye)
    raise RefusedError(
        "no-cut-fits",
        "No cuts that stay clear of the contacts make pieces that fit.",
        "Choose a larger vessel, a smaller clearance, or allow cuts through contacts.",
    )


def describe(board: CutBoard, piece: Piece) -> PlannedPiece:
    """Mass and gold of a piece."""
    rectangle = (piece.u0_mm, piece.u1_mm, piece.v0_mm, piece.v1_mm)
    return PlannedPiece(piece, board.mass_g(rectangle), board.gold_mg(rectangle))
