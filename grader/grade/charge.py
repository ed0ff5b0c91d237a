"""The boards to process as a batch's charge: only the pieces that their cuts keep."""

from __future__ import annotations

import numpy as np

from calibration.errors import RefusedError
from grader.batch import Feed
from grader.batch.notices import notice
from grader.grade.model import Grades
from grader.model import EMPTY, ProductModel


def charge_to_process(grades: Grades) -> Feed:
    """Mass, plated area and gold of all boards that are to be processed, with the inputs that they share.

    Raises:
        RefusedError: ``nothing-to-process``: no board is to be processed, or none of them was planned from its photo.
    """
    planned = [g.candidate.planned for g in grades.boards if g.grade == "process" and g.candidate.planned is not None]
    kept = [(p.board, piece) for p in planned for piece in p.pieces if piece.piece.kept]
    if not kept:
        raise RefusedError(
            "nothing-to-process",
            "No board is worth processing by your thresholds.",
            "Lower the thresholds if that is too strict, or sell or leave the boards.",
        )
    areas = (board.plated_area_mm2((p.piece.u0_mm, p.piece.u1_mm, p.piece.v0_mm, p.piece.v1_mm)) for board, p in kept)
    one_face = any(len(p.board.faces) == 1 for p in planned)
    return Feed(
        mass_g=sum((p.mass_g for _, p in kept), EMPTY),
        plated_mm2=sum(areas, EMPTY),
        gold_mg=sum((p.gold_mg for _, p in kept), EMPTY),
        heaviest_piece_g=max(_median(p.mass_g) for _, p in kept),
        notices=(notice("one-face-only"),) if one_face else (),
    )


def _median(model: ProductModel) -> float:
    return float(np.median(model.draws()))
