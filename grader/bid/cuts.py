"""A cut plan as the price of a lot needs it: cuts, and mass and gold of the kept pieces, board by board.

If a photo's boards were planned, their plan replaces the estimate from the rows of contacts, so that the price
counts the same cuts, mass and minutes as the plan, its batch and its grades.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.errors import DataFileError, RefusedError, UsageError
from calibration.inputs import Input
from grader.batch.charge import lognormal_of, sum_of_ranges
from grader.cut import PlannedBoard
from grader.measured import Measured
from grader.model import EMPTY, ProductModel

_SOURCE = "the cut plan's 90 % range"
_MASS = "mass of the kept pieces, compared with the cut plan's"


@dataclass(frozen=True)
class BoardCuts:
    """The plan for one board.

    Attributes:
        cuts: number of cuts.
        kept_g: mass of the pieces that are kept.
        share_kept: share of the board's gold that is on them, 0..1.
    """

    cuts: int
    kept_g: ProductModel
    share_kept: float


# By the sha256 of a photo of fronts: its boards in their order, None where one was not planned.
PlansOfPhotos = Mapping[str, Sequence[BoardCuts | None]]


def cuts_of_boards(boards: Sequence[PlannedBoard | RefusedError]) -> tuple[BoardCuts | None, ...]:
    """The planned boards of one photo; refused boards are None."""
    return tuple(None if isinstance(b, RefusedError) else _of_board(b) for b in boards)


def _of_board(board: PlannedBoard) -> BoardCuts:
    kept = sum((p.mass_g for p in board.pieces if p.piece.kept), EMPTY)
    return BoardCuts(len(board.plan.cuts), kept, 1.0 - board.plan.lost)


def cuts_of_documents(documents: Sequence[Mapping[str, Any]], measured: Sequence[Measured]) -> PlansOfPhotos:
    """The plans written by ``grader cut --json``, assigned to their photos.

    Masses are given as ranges; they all share one factor, because they share the scale and the board's thickness.

    Args:
        documents: of one or several photos; those that refuse a whole photo are skipped.
        measured: the photos, identified by their names.

    Raises:
        DataFileError: ``cut-invalid``.
        UsageError: ``cut-without-photo``: a plan belongs to none of the photos, or two plans to one;
            ``cut-other-boards``: its number of boards differs from the photo's.
    """
    photos = {m.photo: m for m in measured}
    try:
        plans = [(str(d["photo"]), list(d["boards"])) for d in documents if "error" not in d]
        kept = [p for _, boards in plans for b in boards for p in _kept(b)]
        low, value, high = sum_of_ranges([p["mass_g"] for p in kept])
        ratio = None if value <= 0 else Input("cut", _MASS, lognormal_of(low / value, 1.0, high / value), _SOURCE)
        found = [(name, tuple(_board(b, ratio) for b in boards)) for name, boards in plans]
    except (KeyError, TypeError, ValueError) as error:
        raise DataFileError("cut-invalid", "This is not a cut plan.", "Plan the cuts again.") from error
    if len({name for name, _ in found}) < len(found) or not {name for name, _ in found} <= set(photos):
        raise UsageError(
            "cut-without-photo",
            "A cut plan belongs to none of the measured photos, or two plans to one.",
            "Give the measurement and the cut plan of the same photos.",
        )
    for name, boards in found:
        if len(boards) != len(photos[name].boards):
            raise UsageError(
                "cut-other-boards",
                f"The cut plan of {name} has {len(boards)} boards, its measurement {len(photos[name].boards)}.",
                "Measure the photo and plan its cuts with the same corrections.",
            )
    return {photos[name].sha256: boards for name, boards in found}


def _kept(board: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return [] if "error" in board else [p for p in board["pieces"] if p["kept"] is True]


def _board(data: Mapping[str, Any], ratio: Input | None) -> BoardCuts | None:
    if "error" in data:
        return None
    mass = sum_of_ranges([p["mass_g"] for p in _kept(data)])[1]
    model = EMPTY if ratio is None else ProductModel.of(mass, (ratio,))
    share = float(data["share_lost"])
    if not 0 <= share <= 1:
        raise ValueError(share)
    return BoardCuts(len(data["cuts"]), model, 1.0 - share)
