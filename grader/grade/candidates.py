"""Boards to be graded: from planned cuts, or from measurements alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from calibration.arrays import RgbArray
from calibration.errors import RefusedError
from grader.cut import CutBoard, CutRules, plan_board
from grader.cut.board import density_input, outline_offset_input
from grader.cut.picture import board_picture
from grader.grade.model import Candidate
from grader.measured import Measured, MeasuredBoard
from grader.measured.record import FILE
from grader.model import EMPTY, ProductModel

NO_GOLD = "no-gold-to-keep"


def candidates_of(
    photo: str,
    boards: Sequence[CutBoard | RefusedError],
    rules: CutRules,
    part: str = "",
    picture: tuple[RgbArray, float] | None = None,
) -> tuple[list[Candidate], list[tuple[str, RefusedError]]]:
    """The boards of a photo, each with its cut plan; and those that cannot be graded, with the reason.

    Args:
        photo: its name.
        boards: found in it.
        rules: for cutting.
        part: what kind the boards are; the photo's name if empty.
        picture: of the photo, uint8 (h, w, 3), and its size ÷ the photo's, for the boards' pictures.
    """
    found: list[Candidate] = []
    unknown: list[tuple[str, RefusedError]] = []
    for number, board in enumerate(boards, 1):
        name = f"{photo}, board {number}"
        if isinstance(board, RefusedError):
            unknown.append((name, board))
            continue
        found.append(_planned(name, part or photo, board, rules, picture))
    return found, unknown


def _planned(
    name: str, part: str, board: CutBoard, rules: CutRules, picture: tuple[RgbArray, float] | None
) -> Candidate:
    faces = len(board.faces)
    try:
        planned = plan_board(board, rules)
    except RefusedError as error:
        small = None if picture is None else board_picture(*picture, board, None)
        return Candidate(name, part, EMPTY, EMPTY, board.mass_g(), None, faces, error, small)
    kept = [p for p in planned.pieces if p.piece.kept]
    return Candidate(
        name,
        part,
        sum((p.gold_mg for p in kept), EMPTY),
        sum((p.mass_g for p in kept), EMPTY),
        board.mass_g(),
        len(planned.plan.cuts),
        faces,
        None,
        None if picture is None else board_picture(*picture, board, planned.plan),
        planned,
    )


def with_weight(candidates: Sequence[Candidate], weighed_g: float) -> list[Candidate]:
    """The boards of one photo, which together weigh so much: mounted parts are then in what they bring sold whole.

    Each has its share by the size of its outline. A board that goes into the acid uncut goes in with its parts.
    """
    size = [float(np.median(c.whole_g.draws())) for c in candidates]
    found = []
    for candidate, own in zip(candidates, size, strict=True):
        whole = ProductModel.of(weighed_g * own / sum(size), ())
        uncut = candidate.why_not is None and not candidate.cuts
        found.append(replace(candidate, whole_g=whole, mass_g=whole if uncut else candidate.mass_g, weighed=True))
    return found


def measured_candidates(
    measured: Sequence[Measured], part: str = "", thickness_mm: float | None = None
) -> list[Candidate]:
    """The boards of measured photos: whole, for without the photo none can be cut.

    Args:
        measured: the photos, each with gold.
        part: what kind the boards are; the photo's name if empty.
        thickness_mm: of the boards, for their mass.

    Raises:
        DataFileError: ``measurement-invalid``: a measurement does not say what is on each board.
    """
    return [candidate for m in measured for candidate in _of_measurement(m, part, thickness_mm)]


def _of_measurement(m: Measured, part: str, thickness_mm: float | None) -> Iterator[Candidate]:
    inputs = m.gold.inputs
    scale = [inputs[name] for name in m.scale_inputs] if set(m.scale_inputs) <= set(inputs) else []
    for number, board in enumerate(m.boards, 1):
        if board.gold_terms is None or len(board.outline_px) < 3:
            raise FILE.invalid(m.photo, "it does not say what is on each board")
        gold = ProductModel(board.gold_terms, inputs)
        factors = (*scale, density_input(thickness_mm))
        offset = outline_offset_input(m.sha256[:12], number)
        mass = ProductModel.of(board.size_mm2, factors) + ProductModel.of(-_length_mm(board), (*factors, offset))
        name = f"{m.photo}, board {number}"
        bare = RefusedError(NO_GOLD, "No gold plating was found on this board.", "Leave it out of the batch.")
        yield Candidate(name, part or m.photo, gold, mass, mass, None, 1, None if gold.terms else bare)


def _length_mm(board: MeasuredBoard) -> float:
    """Length of an outline, from its shape in the photo and its area."""
    points = np.asarray(board.outline_px, np.float32).reshape(-1, 1, 2)
    area_px = cv2.contourArea(points)
    return cv2.arcLength(points, closed=True) * float(np.sqrt(board.size_mm2 / area_px)) if area_px > 0 else 0.0


def is_measurement(path: Path) -> bool:
    """Whether a file named on the command line is a measurement rather than a photo."""
    return path.suffix.lower() in {".json", ".jsonl"}
