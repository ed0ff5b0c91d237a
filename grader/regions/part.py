"""Boards that touch or lie on each other, found as one thing, distinguished as far as they are visible.

Rectangles whose sides the picture shows are boards. Where two overlap, the board whose sides are seen inside the
other lies on top. An area outside all rectangles is a separate board where it is wide; where it is narrow, it belongs
to the board that it touches, unless it lies between sides of two boards. Boards that show hardly any of their sides
are missed, or their visible parts are found as several boards.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.regions.edges import Lines
from grader.regions.evidence import OutlineEvidence
from grader.regions.plan_view import PlanView, plan_view
from grader.regions.rectangles import Rectangle, find_rectangles
from grader.regions.sides import table_between
from grader.regions.squared import squared

_WIDE_MM = 13.0
_LEAST_MM2 = 250.0
_LEAST_SOLID = 0.9  # a piece that fills this share of its convex hull and holds one rectangle is one board
_ONE_WAY = np.radians(8.0)
_ALIKE_MM = 2.5  # greatest difference between the sides, as found, of boards of one kind
_LEAST_WIDTH_MM = 16.0  # of boards side by side that are not alike; the part of a board with its contacts is narrower
_OTHER_COLOUR = 20.0  # ΔE*ab between boards side by side that are not alike
_INSET_MM = 1.5
_LEAST_SAMPLES = 4
_MOST_HIDDEN = 0.03  # of a rectangle, before it counts as partly hidden
_OVERLAP_MM2 = 60.0
_BESIDE_PLATING_MM = 1.0
_NEAR_MM, _AS_WIDE, _SLACK = 3.0, 0.8, 0.15
_LEAST_PIECE_MM2 = 20.0
_FINE = 3


@dataclass(frozen=True, eq=False)
class VisiblePart:
    """The visible part of one board.

    Attributes:
        outlines_px: float64 (k, 2) each, in the photo, of its visible pieces, largest first.
        area_mm2: of its whole visible part.
        hidden: whether another board hides part of it.
        evidence: for its being one board.
    """

    outlines_px: tuple[FloatArray, ...]
    area_mm2: float
    hidden: bool
    evidence: OutlineEvidence


def boards_in_piece(
    contour_px: NDArray[np.int32],
    plane: FacePlane,
    rgb: NDArray[np.uint8] | None,
    plated: NDArray[np.bool_] | None = None,
) -> tuple[tuple[VisiblePart, ...], OutlineEvidence]:
    """The boards of one piece; empty if it is one board whose outline stays as it is.

    Args:
        contour_px: (n, 1, 2), the outline of the piece.
        plane: of the faces.
        rgb: the photo; with None, only the outline is used.
        plated: bool (height, width), where there is plating; it lies on boards, never on the table between them.

    Returns:
        The boards, and the evidence that the whole piece is one board.
    """
    view = plan_view(contour_px, plane, rgb)
    rectangles, lines = find_rectangles(view)
    if not rectangles:
        return (), OutlineEvidence()
    whole = _evidence(view.inside, rectangles[0], lines, is_alone=True, rectangles=len(rectangles))
    if _is_solid(contour_px) and _are_one(rectangles, view):
        mask = squared(view.inside, rectangles[0], lines, view)
        if np.array_equal(mask, view.inside):
            return (), whole
        alone = _evidence(mask, rectangles[0], lines, is_alone=True)
        one = _part(mask, view, plane, alone, hidden=False)
        return (() if one is None else (one,)), whole
    labels, count = _labelled(view, rectangles, lines)
    between = table_between(view.inside & (labels == 0), rectangles, lines, view)
    if plated is not None:
        between &= ~_plated_in(view, between, plane, plated)
    labels = _with_narrow_rests(labels, view.inside & ~between)
    parts = []
    for number in range(1, count + 1):
        mask, hidden, evidence = labels == number, False, OutlineEvidence(is_alone=False)
        if number <= len(rectangles):
            own = rectangles[number - 1]
            hidden = _is_hidden(own, mask, view)
            mask = squared(mask, own, lines, view) & (mask | (labels == 0))
            evidence = _evidence(mask, own, lines, is_alone=False)
        part = _part(mask, view, plane, evidence, hidden=hidden)
        if part is not None:
            parts.append(part)
    return (tuple(parts) if len(parts) > 1 else ()), whole


def _evidence(
    mask: NDArray[np.bool_], own: Rectangle, lines: Lines, *, is_alone: bool, rectangles: int = 1
) -> OutlineEvidence:
    seen = np.concatenate([lines.edge[line, start:end] for line, start, end in own.sides])
    shared = float((mask & own.mask).sum() / (mask | own.mask).sum())
    return OutlineEvidence(is_alone, float(seen.mean()) if len(seen) else 0.0, shared, rectangles)


def _are_one(rectangles: list[Rectangle], view: PlanView) -> bool:
    """Whether the rectangles of a piece that fills its convex hull come from lines on one board.

    Boards that lie on each other at random do not form such a piece, unless they lie at different angles. Boards laid
    side by side do, but they are alike or have different colours. Rows of parts and of contacts make rectangles of
    any size along the board's own sides.
    """
    first, *others = rectangles
    if any(abs((r.angle - first.angle + np.pi / 4) % (np.pi / 2) - np.pi / 4) > _ONE_WAY for r in others):
        return False
    sides = np.array([r.lengths_mm for r in rectangles])
    if not others or ((np.ptp(sides, axis=0) > _ALIKE_MM).any() and sides.min() < _LEAST_WIDTH_MM):
        return True
    if (np.ptp(sides, axis=0) <= _ALIKE_MM).all():
        return False
    colours = np.array([np.median(view.layers[r.mask & view.inside][:, :-1], axis=0) for r in rectangles])
    apart = np.linalg.norm(colours[:, None] - colours[None], axis=-1)[np.triu_indices(len(colours), 1)]
    return bool(apart.min() < _OTHER_COLOUR)


def _is_solid(contour: NDArray[np.int32]) -> bool:
    return cv2.contourArea(contour) >= _LEAST_SOLID * cv2.contourArea(cv2.convexHull(contour))


def _labelled(view: PlanView, rectangles: list[Rectangle], lines: Lines) -> tuple[NDArray[np.uint8], int]:
    """Number of the board at each pixel of the piece, rectangles numbered first; and the number of boards."""
    labels = np.zeros(view.inside.shape, np.uint8)
    for i in _bottom_first(view, rectangles, lines):
        labels[rectangles[i].mask & view.inside] = i + 1
    side = int(_WIDE_MM * view.px_per_mm) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    rest = (view.inside & (labels == 0)).astype(np.uint8)
    _, wide, stats, _ = cv2.connectedComponentsWithStats(cv2.morphologyEx(rest, cv2.MORPH_OPEN, disc))
    count = len(rectangles)
    for number in np.flatnonzero(stats[:, cv2.CC_STAT_AREA] >= _LEAST_MM2 * view.px_per_mm**2):
        if number == 0:
            continue
        longer = next((i for i, r in enumerate(rectangles) if _goes_on(r, wide == number, view)), None)
        if longer is None:
            count += 1
        labels[wide == number] = count if longer is None else longer + 1
    return labels, count


def _plated_in(
    view: PlanView, where: NDArray[np.bool_], plane: FacePlane, plated: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Pixels of a mask of the view that lie on plating or next to it, as gaps between contacts do."""
    found = np.zeros(where.shape, np.uint8)
    rows, columns = np.nonzero(where)
    if len(rows):
        at_mm = view.to_plane(np.column_stack([columns, rows]).astype(np.float64))
        x, y = np.round(plane.to_px(at_mm)).astype(np.intp).T
        within = (x >= 0) & (y >= 0) & (x < plated.shape[1]) & (y < plated.shape[0])
        found[rows[within], columns[within]] = plated[y[within], x[within]]
    side = 2 * round(_BESIDE_PLATING_MM * view.px_per_mm) + 1
    return np.asarray(cv2.dilate(found, np.ones((side, side), np.uint8)) > 0)


def _with_narrow_rests(labels: NDArray[np.uint8], piece: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Labels with every pixel of the piece given to the nearest board."""
    _, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).astype(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    of_nearest = np.zeros(int(nearest.max()) + 1, np.uint8)
    of_nearest[nearest[labels > 0]] = labels[labels > 0]
    return np.where(piece, of_nearest[nearest], 0).astype(np.uint8)


def _goes_on(one: Rectangle, rest: NDArray[np.bool_], view: PlanView) -> bool:
    """Whether the rest is the same board beyond a side that was taken for its end: as wide, and next to it."""
    y, x = np.nonzero(rest)
    places = np.column_stack([x, y]) / view.px_per_mm
    centre = one.corners_mm.mean(axis=0)
    for a, b in zip(one.corners_mm, np.roll(one.corners_mm, -1, axis=0), strict=True):
        width = float(np.hypot(*(b - a)))
        along = (b - a) / width
        out = np.array([-along[1], along[0]])
        out *= np.sign((a - centre) @ out)
        beside, beyond = (places - a) @ along, (places - a) @ out
        low, high = np.quantile(beside, [0.02, 0.98])
        # its sides may have been taken at its contacts rather than at its edges
        within = -_SLACK * width <= low and high <= (1 + _SLACK) * width and high - low >= _AS_WIDE * width
        if within and abs(float(np.quantile(beyond, 0.02))) <= _NEAR_MM:
            return True
    return False


def _bottom_first(view: PlanView, rectangles: list[Rectangle], lines: Lines) -> list[int]:
    """Order in which to lay the rectangles: each after most of those that it lies on."""
    side = 2 * round(_INSET_MM * view.px_per_mm) + 1
    inner = [cv2.erode(r.mask.astype(np.uint8), np.ones((side, side), np.uint8)) > 0 for r in rectangles]
    within = [lines.look_up(view, mask) for mask in inner]
    wins = np.zeros(len(rectangles), int)
    for i, one in enumerate(rectangles):
        for j, other in enumerate(rectangles[:i]):
            lead = _seen_inside(one, within[j], lines) - _seen_inside(other, within[i], lines)
            wins[[i, j]] += [int(np.sign(lead)), -int(np.sign(lead))]
    return [int(i) for i in np.argsort(wins, kind="stable")]


def _seen_inside(one: Rectangle, within: NDArray[np.bool_], lines: Lines) -> float:
    """Share that is seen of a rectangle's sides inside another one; one half where hardly any lies inside."""
    seen = samples = 0
    for line, start, end in one.sides:
        inside = within[line, start:end]
        samples += int(inside.sum())
        seen += int((inside & lines.edge[line, start:end]).sum())
    return seen / samples if samples >= _LEAST_SAMPLES else 0.5


def _is_hidden(one: Rectangle, visible: NDArray[np.bool_], view: PlanView) -> bool:
    covered = int((one.mask & view.inside & ~visible).sum())
    return covered > max(_MOST_HIDDEN * int(one.mask.sum()), _OVERLAP_MM2 * view.px_per_mm**2)


def _part(
    mask: NDArray[np.bool_], view: PlanView, plane: FacePlane, evidence: OutlineEvidence, *, hidden: bool
) -> VisiblePart | None:
    # contours run through the middles of pixels; in a finer picture these are nearer to the pixels' border
    fine = cv2.resize(mask.astype(np.uint8), None, fx=_FINE, fy=_FINE, interpolation=cv2.INTER_NEAREST)
    contours, _ = cv2.findContours(fine, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    least = _LEAST_PIECE_MM2 * (_FINE * view.px_per_mm) ** 2
    pieces = [c for c in contours if cv2.contourArea(c) >= least]
    if not pieces:
        return None
    pieces.sort(key=cv2.contourArea, reverse=True)
    outlines = [view.to_plane((c.reshape(-1, 2) + 0.5) / _FINE - 0.5) for c in pieces]
    return VisiblePart(
        tuple(plane.to_px(o) for o in outlines), float(mask.sum()) / view.px_per_mm**2, hidden, evidence
    )
