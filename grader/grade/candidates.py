"""Boards to be graded: from planned cuts, or from measurements alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import DataFileError, RefusedError
from calibration.reading import as_written
from grader.cut import CutBoard, CutRules, plan_board
from grader.cut.board import density_input, outline_offset_input
from grader.cut.picture import board_picture
from grader.grade.model import Candidate
from grader.model import EMPTY, ProductModel
from grader.valuation import Measured, measurements_of

Picture = NDArray[np.uint8]
NO_GOLD = "no-gold-to-keep"


def candidates_of(
    photo: str,
    boards: Sequence[CutBoard | RefusedError],
    rules: CutRules,
    part: str = "",
    picture: tuple[Picture, float] | None = None,
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
    name: str, part: str, board: CutBoard, rules: CutRules, picture: tuple[Picture, float] | None
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
    documents: Sequence[tuple[str, Mapping[str, Any]]], part: str = "", thickness_mm: float | None = None
) -> list[Candidate]:
    """The boards of measurements that ``grader measure --json`` wrote: whole, for without the photo none can be cut.

    Args:
        documents: where each comes from (for messages), and the object itself.
        part: what kind the boards are; the photo's name if empty.
        thickness_mm: of the boards, for their mass.

    Raises:
        UsageError: as ``measurements_of``.
        DataFileError: a measurement that does not say what is on each board.
    """
    found: list[Candidate] = []
    for (source, document), m in zip(documents, measurements_of(documents), strict=True):
        damaged = DataFileError(
            "measurement-invalid",
            f"{source}: it does not say what is on each board.",
            "Measure the photo again.",
        )
        with as_written(damaged):
            found += _of_measurement(m, document, part, thickness_mm)
    return found


def _of_measurement(
    m: Measured, document: Mapping[str, Any], part: str, thickness_mm: float | None
) -> Iterator[Candidate]:
    """The boards of one measurement; raises what a mapping does where something is missing."""
    missing = set(m.scale_inputs) - set(m.gold_mg.inputs)
    scale = [] if missing else [m.gold_mg.inputs[name] for name in m.scale_inputs]
    inputs = [i.as_json() for i in m.gold_mg.inputs.values()]
    for number, (outline, board) in enumerate(zip(m.outlines, document.get("boards", []), strict=True), 1):
        gold = ProductModel.from_json({"terms": board["gold_terms"], "inputs": inputs})
        factors = (*scale, density_input(thickness_mm))
        offset = outline_offset_input(m.sha256[:12], number)
        around = ProductModel.of(-_length_mm(board["outline_px"], outline.area_mm2), (*factors, offset))
        mass = ProductModel.of(outline.area_mm2, factors) + around
        name = f"{m.photo}, board {number}"
        bare = RefusedError(NO_GOLD, "No gold plating was found on this board.", "Leave it out of the batch.")
        yield Candidate(name, part or m.photo, gold, mass, mass, None, 1, None if gold.terms else bare)


def _length_mm(outline_px: Any, area_mm2: float) -> float:
    """Length of an outline, from its shape in the photo and its area."""
    points = np.asarray(outline_px, np.float32).reshape(-1, 1, 2)
    area_px = cv2.contourArea(points)
    return cv2.arcLength(points, closed=True) * float(np.sqrt(area_mm2 / area_px)) if area_px > 0 else 0.0


def is_measurement(path: Path) -> bool:
    """Whether a file named on the command line is a measurement rather than a photo."""
    return path.suffix.lower() in {".json", ".jsonl"}
