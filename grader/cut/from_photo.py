"""From a measured photo to boards in their own axes, with named edges."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.errors import RefusedError
from calibration.finishes import HARD_GOLD
from calibration.inputs import Input
from calibration.scale import Scale
from grader.area import RegionKind, area_kind, area_of_kind
from grader.cut.board import GOLD_CELL, STEP_MM, CutBoard, CutFace, density_input, outline_offset_input
from grader.cut.outlines import board_outline_mm
from grader.gold import gold_mass
from grader.model import EMPTY, ProductModel
from grader.pipeline import Measurement
from grader.regions import Region

_LONGEST_CONTACT_MM = 15.0  # hard gold outside a row beyond this length is a plane
_FINE = 4  # a cell's material is told from so many points each way
_NEAR_MM = 2.0  # a region's middle may lie this far outside its board's outline


def cut_boards(done: Measurement) -> tuple[CutBoard | RefusedError, ...]:
    """Each board of a measured photo in its own axes, with or without gold; or why it cannot be.

    Their order, and so their numbers, are those of the measurement: from left to right.

    Thickness of the boards and properties of the plating are those of the request that was measured.

    Raises:
        RefusedError: no scale, or no outline at all.
    """
    scale = done.scale
    if scale is None:
        raise RefusedError(
            "cut-without-scale",
            "Without a scale, cuts cannot be given in millimetres.",
            "Lay the printed target beside the boards, or give a known length.",
        )
    if not done.regions.boards:
        raise RefusedError(
            "outline-unknown",
            "No board's outline was found, so there is nothing to plan cuts on.",
            "Photograph whole boards on a plain surface of another colour, a finger's width apart.",
        )
    found: list[RefusedError | FloatArray] = []
    for number in range(len(done.regions.boards)):
        try:
            found.append(board_outline_mm(done, scale, number))
        except RefusedError as error:
            found.append(error)
    owners = iter(_owners(done, scale, [f for f in found if isinstance(f, np.ndarray)]))
    per = _Per(done, scale)
    density = density_input(done.request.board_thickness_mm)
    boards: list[CutBoard | RefusedError] = []
    for number, each in enumerate(found, 1):  # every board keeps its number, also after one that is refused
        if isinstance(each, RefusedError):
            boards.append(each)
        else:
            offset = outline_offset_input(done.photo.short_id, number)
            boards.append(_board(done, scale, each, next(owners), density, offset, per))
    return tuple(boards)


class _Per:
    """Area and gold for each mm² found of a kind of regions of one photo, told once for all its boards."""

    def __init__(self, done: Measurement, scale: Scale) -> None:
        self._done, self._scale = done, scale
        self._known: dict[RegionKind, tuple[ProductModel, ProductModel]] = {}

    def __call__(self, kind: RegionKind) -> tuple[ProductModel, ProductModel]:
        if kind not in self._known:
            area = area_of_kind(kind, 1.0, self._done.coverage, self._scale, self._done.photo.short_id)
            self._known[kind] = sum(area.values(), EMPTY), gold_mass(area, self._done.request.properties).total
        return self._known[kind]


def _owners(done: Measurement, scale: Scale, outlines: list[FloatArray]) -> list[frozenset[int]]:
    """Labels of the regions on each outline: the one that a region's middle lies in, or very near to.

    Faint patches are left out: their sum is about right, but most of them are not where there is gold, and a cut goes
    by places.
    """
    members: list[set[int]] = [set() for _ in outlines]
    solid = [r for r in done.regions.regions if not r.faint]
    if outlines and solid:
        middles = scale.plane.to_mm(np.array([r.box_px.mean(axis=0) for r in solid]))
        closed = [o.astype(np.float32).reshape(-1, 1, 2) for o in outlines]
        for region, (x, y) in zip(solid, middles.tolist(), strict=True):
            inside = [cv2.pointPolygonTest(o, (x, y), measureDist=True) for o in closed]
            best = int(np.argmax(inside))
            if inside[best] >= -_NEAR_MM:
                members[best].add(region.number)
    return [frozenset(m) for m in members]


def _board(
    done: Measurement,
    scale: Scale,
    outline: FloatArray,
    members: frozenset[int],
    density: Input,
    offset: Input,
    per: _Per,
) -> CutBoard:
    corner, axes, size, edges = _frame(outline, scale)
    shape = (max(1, math.ceil(size[0] / STEP_MM)), max(1, math.ceil(size[1] / STEP_MM)))
    own = [r for r in done.regions.regions if r.number in members]
    return CutBoard(
        outline_mm=outline,
        plane=scale.plane,
        corner_mm=corner,
        axes=axes,
        edges=edges,
        solid_mm2=_material((outline - corner) @ axes.T, shape),
        faces=(_face(done, scale, own, corner, axes, shape, per),),
        scale_inputs=scale.area_inputs,
        density=density,
        outline_offset=offset,
        uncertainty_mm=math.hypot(
            scale.relative_uncertainty() * size[0] / 2, 1 / scale.px_per_mm_at(scale.plane.to_px(outline))
        ),
    )


def _frame(outline: FloatArray, scale: Scale) -> tuple[FloatArray, FloatArray, tuple[float, float], tuple[str, str]]:
    """Corner, axes, size and named edges of the smallest rectangle about an outline in mm.

    The first axis runs along the longer side, to the right or down in the photo; the second a quarter turn clockwise
    from it, so that a drawing in these axes is never mirrored.
    """
    box = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(np.float64)
    sides = np.roll(box, -1, axis=0) - box
    lengths = np.hypot(*sides.T)
    along = sides[0] / lengths[0] if lengths[0] >= lengths[1] else sides[1] / lengths[1]
    middle = outline.mean(axis=0)
    if _edge(along, middle, scale) in {"right", "bottom"}:
        along = -along
    frame = np.array([along, [-along[1], along[0]]])
    places = outline @ frame.T
    low, high = places.min(axis=0), places.max(axis=0)
    names = (_edge(frame[0], middle, scale), _edge(frame[1], middle, scale))
    return low @ frame, frame, (float(high[0] - low[0]), float(high[1] - low[1])), names


def _edge(axis: FloatArray, at_mm: FloatArray, scale: Scale) -> str:
    """The edge, as in the photo, at which an axis of the plane begins."""
    start, end = scale.plane.to_px(np.array([at_mm - axis, at_mm + axis]))
    x, y = end - start
    if abs(x) >= abs(y):
        return "left" if x > 0 else "right"
    return "top" if y > 0 else "bottom"


def _material(outline_uv: FloatArray, shape: tuple[int, int]) -> FloatArray:
    """mm² of board in each cell."""
    fine = np.zeros((shape[0] * _FINE, shape[1] * _FINE), np.uint8)
    shift = 4
    points = (outline_uv[:, ::-1] / STEP_MM * _FINE - 0.5) * 2**shift  # x of the picture is the second axis
    cv2.fillPoly(fine, [np.round(points).astype(np.int32).reshape(-1, 1, 2)], 1, shift=shift)
    cells = fine.reshape(shape[0], _FINE, shape[1], _FINE).mean(axis=(1, 3))
    return np.asarray(cells * STEP_MM**2, np.float64)


def _is_contact(region: Region) -> bool:
    return region.row is not None or (region.finish == HARD_GOLD and region.length <= _LONGEST_CONTACT_MM)


def _face(
    done: Measurement,
    scale: Scale,
    own: list[Region],
    corner: FloatArray,
    axes: FloatArray,
    shape: tuple[int, int],
    per: _Per,
) -> CutFace:
    """The plating of the face in the photo."""
    regions = done.regions
    kinds = list(dict.fromkeys(map(area_kind, own)))
    kind = np.full(len(regions.regions) + 1, -1)
    contact = np.zeros(len(kind), bool)
    for r in own:
        kind[r.number] = kinds.index(area_kind(r))
        contact[r.number] = _is_contact(r)
    ys, xs = np.nonzero(kind[regions.labels] >= 0)
    label = regions.labels[ys, xs]
    px = np.column_stack([xs, ys]).astype(np.float64)
    area = done.coverage.share[ys, xs] / 255.0 * scale.plane.pixel_area_mm2(px)
    places: NDArray[np.int64] = np.floor((scale.plane.to_mm(px) - corner) @ axes.T / STEP_MM).astype(np.int64)
    # plating may stick out of a smoothed outline by a little
    inside = np.clip(places, 0, np.array(shape) - 1)
    place = inside[:, 0] * shape[1] + inside[:, 1]
    plated: dict[RegionKind, FloatArray] = {}
    for i, name in enumerate(kinds):
        chosen = kind[label] == i
        if area[chosen].any():
            plated[name] = _in_cells(place[chosen], area[chosen], shape)
    on = contact[label]
    largest = max((r for r in own if _is_contact(r)), key=lambda r: r.length, default=None)
    return CutFace(
        plated,
        _in_cells(place[on], area[on], shape) > GOLD_CELL * STEP_MM**2,
        {name: per(name)[1] for name in plated},
        {name: per(name)[0] for name in plated},
        (largest.length, largest.width) if largest is not None else None,
    )


def _in_cells(place: NDArray[np.int64], area: FloatArray, shape: tuple[int, int]) -> FloatArray:
    return np.asarray(np.bincount(place, area, shape[0] * shape[1]), np.float64).reshape(shape)
