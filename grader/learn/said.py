"""What measurements and valuations in the log said of a lot's boards: their kind, and who chose the boards shown."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from calibration.finishes import HARD_GOLD
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, KindKey
from calibration.thickness import THICKNESS
from grader.log import Contents, Estimate, LoggedLot

SELLER_CHOSE = "seller"


def kind_said(contents: Contents, lot: LoggedLot, estimates: Iterable[Estimate]) -> KindKey:
    """The kind of boards, as last valued, otherwise as measured; not known if mixed or never stated."""
    said = {str(p["kind"]) for p in _parts(contents, lot) if p.get("kind") in KINDS_OF_BOARDS} - {UNKNOWN}
    if not said:
        said = {
            i.of[1]
            for e in estimates
            for i in e.measured.gold.inputs.values()
            if i.kind == THICKNESS and i.of[:1] == (HARD_GOLD,) and len(i.of) > 1 and i.of[1] in KINDS_OF_BOARDS
        }
    return said.pop() if len(said) == 1 else UNKNOWN


def seller_chose(contents: Contents, lot: LoggedLot) -> bool:
    """Whether the seller chose which boards were shown, as the last valuation had it."""
    return any(p.get("picked") == SELLER_CHOSE for p in _parts(contents, lot))


def _parts(contents: Contents, lot: LoggedLot) -> list[Mapping[str, Any]]:
    newest = next((o for o in reversed(contents.offers) if o.lot_id == lot.id), None)
    parts = None if newest is None else newest.document.get("lot")
    return [p for p in parts if isinstance(p, Mapping)] if isinstance(parts, list) else []
