"""From photos to the lot: what a few photographed boards say about all the boards."""

from __future__ import annotations

from grader.lot.claim import PartText, SightText, amount_texts, lot_of, one_part, read_claim
from grader.lot.estimate import estimate_lot
from grader.lot.model import Lot, LotEstimate, OtherFace, Part, PartEstimate, Sight
from grader.lot.plating import own_thickness

__all__ = [
    "Lot",
    "LotEstimate",
    "OtherFace",
    "Part",
    "PartEstimate",
    "PartText",
    "Sight",
    "SightText",
    "amount_texts",
    "estimate_lot",
    "lot_of",
    "one_part",
    "own_thickness",
    "read_claim",
]
