"""A plan as sentences and as data, the same on paper, terminal and page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from calibration.errors import GraderError, RefusedError
from grader.cautions import documents_for
from grader.cut.choose import PlannedBoard, PlannedPiece
from grader.cut.plan import Cut, Plan
from grader.model import ProductModel, Range
from grader.units import MassUnit, format_range, format_share

_INCH_MM = 25.4
_FAR = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
PARTS_NOTE = "Masses are of bare board with its copper; mounted parts are not in them."
FACE_NOTE = "Only the face in the photo was looked at: before throwing a piece away, look at its other face."
BOTH_NOTE = "Gold on both faces counts: the backs were laid under the fronts by their outlines."
EYE_NOTE = "The gaps are narrower than the photo's places are sure: cut where you see the gap, not by measure alone."
_KIND = "cuts parallel to the edges, each through a whole piece,"
_THROUGH = {
    "plating": "A cut may pass through plating that is not a contact, because nothing else fits.",
    "contacts": "Cuts may pass through contacts, as you allowed.",
}


def nearer_edge(planned: PlannedBoard, cut: Cut) -> tuple[float, str]:
    """A cut's distance in mm from the nearer of the two edges that it runs along, and that edge's name."""
    size, first = planned.board.size_mm[cut.axis], planned.board.edges[cut.axis]
    return (cut.at_mm, first) if cut.at_mm <= size / 2 else (size - cut.at_mm, _FAR[first])


def cut_lines(planned: PlannedBoard, liked: MassUnit = "auto") -> list[str]:
    """The plan in sentences, gold in the unit that is liked."""
    length, width = planned.board.size_mm
    lines = [f"{length:.0f} × {width:.0f} mm"]
    for i, cut in enumerate(planned.plan.cuts, 1):
        at, edge = nearer_edge(planned, cut)
        lines.append(
            f"Cut {i}: {at:.1f} mm ({at / _INCH_MM:.2f} in) from the {edge} edge, "
            f"{cut.to_mm - cut.from_mm:.0f} mm long"
        )
    if not planned.plan.cuts:
        lines.append("No cut pays.")
    for piece in planned.pieces:
        a, b = piece.piece.sides_mm
        word = "keep " if piece.piece.kept else "throw"
        lines.append(
            f"{word} {a:.0f} × {b:.0f} mm: board {_text(piece.mass_g, 'g')}, gold {_text(piece.gold_mg, 'mg', liked)}"
        )
    plan = planned.plan
    lines.append(
        f"Gold not kept: {format_share(plan.lost)}. Cost {plan.cost:.2f} (in the money of the costs given); "
        f"{_how_good(plan)}."
    )
    if plan.through in _THROUGH:
        lines.append(_THROUGH[plan.through])
    if planned.by_eye and plan.cuts:
        lines.append(EYE_NOTE)
    return lines


def _how_good(plan: Plan) -> str:
    """How far the plan may be from the best."""
    if plan.is_optimal:
        return f"no {_KIND} cost less"
    return f"no {_KIND} can save more than {format_share(1 - plan.bound / plan.cost)} of it"


def cut_notes(boards: Iterable[PlannedBoard]) -> list[str]:
    """What must be said with any plan of these boards."""
    faces = {len(b.board.faces) for b in boards}
    return [PARTS_NOTE, *([FACE_NOTE] if faces != {2} else []), *([BOTH_NOTE] if 2 in faces else [])]


def cut_document(
    photo: str, boards: Sequence[PlannedBoard | RefusedError], back: str | None = None
) -> dict[str, Any]:
    """The plans of a photo as a JSON object; edges are named as in the photo."""
    return {
        "schema": 1,
        "photo": photo,
        "back": back,
        "boards": [_board(b) if isinstance(b, PlannedBoard) else _refused(b) for b in boards],
        "notes": cut_notes(b for b in boards if isinstance(b, PlannedBoard)),
        "cautions": documents_for("cut"),
    }


def refused_document(photo: str, error: GraderError) -> dict[str, Any]:
    """Why a photo has no plans, in the same form."""
    return {"schema": 1, "photo": photo, "boards": [], **_refused(error)}


def _board(planned: PlannedBoard) -> dict[str, Any]:
    plan = planned.plan
    cuts = []
    for cut in plan.cuts:
        at, edge = nearer_edge(planned, cut)
        cuts.append({"edge": edge, "at_mm": at, "at_in": at / _INCH_MM, "from_mm": cut.from_mm, "to_mm": cut.to_mm})
    return {
        "faces": len(planned.board.faces),
        "size_mm": list(planned.board.size_mm),
        "edges": list(planned.board.edges),
        "clearance_mm": planned.rules.clearance_mm,
        "by_eye": planned.by_eye,
        "through": plan.through,
        "cuts": cuts,
        "pieces": [_piece(p) for p in planned.pieces],
        "share_lost": plan.lost,
        "cost": plan.cost,
        "bound": plan.bound,
    }


def _piece(piece: PlannedPiece) -> dict[str, Any]:
    p = piece.piece
    return {
        "kept": p.kept,
        "box_mm": [p.u0_mm, p.u1_mm, p.v0_mm, p.v1_mm],
        "mass_g": _range(piece.mass_g).as_json(),
        "gold_mg": _range(piece.gold_mg).as_json(),
    }


def _refused(error: GraderError) -> dict[str, Any]:
    return {"error": {"code": error.code, "message": error.message, "advice": error.advice}}


def _range(model: ProductModel) -> Range:
    return Range.of(model.draws()) if model.terms else Range(0.0, 0.0, 0.0)


def _text(model: ProductModel, unit: str, liked: MassUnit = "auto") -> str:
    return format_range(_range(model), unit, liked) if model.terms else f"0 {unit}"
