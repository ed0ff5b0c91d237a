"""Plans for all boards of a photo, with mass and gold of each piece as ranges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.errors import RefusedError
from calibration.thickness import GoldProperties
from grader.cut.board import CutBoard, cut_board
from grader.cut.grid import FloatArray, Sums
from grader.cut.outlines import board_outlines_mm
from grader.cut.plan import Piece, Plan, plan_cuts
from grader.cut.rules import CutRules, Through
from grader.gold import gold_mass
from grader.measure import Measurement
from grader.model import EMPTY, Finish, ProductModel

# the camera's share of the clearance: so many standard uncertainties of a place on the board
_SURE = 2.0
_NEAR_MM = 2.0
_MUCH_LESS = 0.6
_WAYS: tuple[Through, ...] = ("nothing", "plating")


@dataclass(frozen=True, eq=False)
class PlannedPiece:
    """A piece with its mass in g and gold in mg, as models whose inputs all pieces share."""

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


def plan_measurement(
    done: Measurement,
    rules: CutRules,
    thickness_mm: float | None = None,
    properties: Mapping[Finish, GoldProperties] | None = None,
) -> tuple[PlannedBoard | RefusedError, ...]:
    """A plan, or why there is none, for each board of a photo.

    Raises:
        RefusedError: no board can be planned at all: no scale, or no outline.
    """
    if done.scale is None:
        cut_board(done, np.zeros((0, 2)), frozenset(), thickness_mm)
    if not done.regions.boards:
        raise RefusedError(
            "outline-unknown",
            "No board's outline was found, so that nothing can be cut to measure.",
            "Photograph whole boards on a plain surface of another colour, a finger's width apart.",
        )
    found: list[PlannedBoard | RefusedError] = []
    outlines: list[FloatArray] = []
    for number in range(len(done.regions.boards)):
        try:
            outlines.extend(board_outlines_mm(done, number))
        except RefusedError as error:
            found.append(error)
    for outline, members in zip(outlines, _owners(done, outlines), strict=True):
        try:
            found.append(_plan(done, cut_board(done, outline, members, thickness_mm), rules, properties))
        except RefusedError as error:
            found.append(error)
    return tuple(found)


def _owners(done: Measurement, outlines: list[FloatArray]) -> list[frozenset[int]]:
    """Labels of the regions on each outline: the one that a region's middle lies in, or very near to."""
    members: list[set[int]] = [set() for _ in outlines]
    if done.scale is None or not outlines or not done.regions.regions:
        return [frozenset(m) for m in members]
    middles = done.scale.plane.to_mm(np.array([r.box_px.mean(axis=0) for r in done.regions.regions]))
    closed = [o.astype(np.float32).reshape(-1, 1, 2) for o in outlines]
    for region, (x, y) in zip(done.regions.regions, middles.tolist(), strict=True):
        inside = [cv2.pointPolygonTest(o, (x, y), measureDist=True) for o in closed]
        best = int(np.argmax(inside))
        if inside[best] >= -_NEAR_MM:
            members[best].add(region.number)
    return [frozenset(m) for m in members]


def _plan(
    done: Measurement,
    board: CutBoard,
    rules: CutRules,
    properties: Mapping[Finish, GoldProperties] | None,
) -> PlannedBoard:
    if board.contact_mm is not None and not rules.fit.fits(*board.contact_mm):
        raise RefusedError(
            "vessel-below-contact",
            f"The largest contact is {board.contact_mm[0]:.1f} mm long: not even it alone would fit.",
            "Choose a larger vessel, or a longer longest piece.",
        )
    clear = replace(rules, clearance_mm=rules.clearance_mm + _SURE * board.uncertainty_mm)
    for through in ("contacts",) if rules.through == "contacts" else _WAYS:
        by_measure, by_eye = (plan_cuts(board.grid, replace(r, through=through)) for r in (clear, rules))
        # by eye only where no place is sure enough to be measured, or much would be saved
        eye = by_eye is not None and (by_measure is None or by_eye.cost < _MUCH_LESS * by_measure.cost)
        plan = by_eye if eye else by_measure
        if plan is not None:
            pieces = tuple(describe(done, board, p, properties) for p in plan.pieces)
            way = replace(rules if eye else clear, through=through)
            return PlannedBoard(board, way, plan, pieces, by_eye=eye)
    raise RefusedError(
        "no-cut-fits",
        "No cuts that stay clear of the contacts make pieces that fit.",
        "Choose a larger vessel, a smaller clearance, or allow cuts through contacts (--through-contacts).",
    )


def describe(
    done: Measurement,
    board: CutBoard,
    piece: Piece,
    properties: Mapping[Finish, GoldProperties] | None = None,
) -> PlannedPiece:
    """Mass and gold of a piece; what a saw's kerf takes belongs to none."""
    rectangle = (piece.u0_mm, piece.u1_mm, piece.v0_mm, piece.v1_mm)
    step = board.grid.step_mm
    scale_inputs = done.scale.area_inputs if done.scale is not None else ()
    inputs = (*scale_inputs, *done.coverage.area_inputs)
    areas = {f: Sums(cells, step).over(*rectangle) for f, cells in board.plated_mm2.items()}
    by_finish = {f: ProductModel.of(mm2, inputs) for f, mm2 in areas.items() if mm2 > 0}
    gold = gold_mass(by_finish, properties).total if by_finish else EMPTY
    solid = Sums(board.solid_mm2, step).over(*rectangle)
    return PlannedPiece(piece, ProductModel.of(solid, (*scale_inputs, board.density)), gold)
