"""From a measured photo to a board in its own axes: cells with gold and material, and named edges."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.errors import RefusedError
from calibration.inputs import Distribution, Input
from calibration.scale import Scale
from calibration.sourced import load_inputs
from grader.cut.grid import BoardGrid
from grader.measure import Measurement
from grader.model import FINISHES, Finish

FloatArray = NDArray[np.float64]

STEP_MM = 0.5
COMMON_THICKNESS_MM = 1.6
_G_PER_CM2_TO_G_PER_MM2 = 0.01
_GOLD_CELL = 0.05  # share of a cell from which it counts as plated
_LONGEST_CONTACT_MM = 15.0  # hard gold outside a row beyond this length is a plane
_FINE = 4  # a cell's material is told from so many points each way


@dataclass(frozen=True, eq=False)
class CutBoard:
    """One board of a photo, ready to be planned.

    Attributes:
        outline_mm: float64 (k, 2), in the plane of the faces.
        grid: its cells.
        corner_mm: float64 (2,), where its axes begin, in the plane of the faces.
        axes: float64 (2, 2), the directions of its axes there, one a row.
        edges: names of the edges at which the first and second axis begin, as in the photo.
        plated_mm2: for each finish, float64 cells like the grid's.
        solid_mm2: float64, material of each cell.
        area_mm2: of its outline.
        density: mass for each mm², g.
        contact_mm: length and width of its largest contact; None where it has none.
        uncertainty_mm: how far a place may be off when measured from the nearer edge, standard.
    """

    outline_mm: FloatArray
    grid: BoardGrid
    corner_mm: FloatArray
    axes: FloatArray
    edges: tuple[str, str]
    plated_mm2: Mapping[Finish, FloatArray]
    solid_mm2: FloatArray
    area_mm2: float
    density: Input
    contact_mm: tuple[float, float] | None
    uncertainty_mm: float

    def to_plane(self, uv_mm: FloatArray) -> FloatArray:
        """Places on the board (n, 2) in mm → places in the plane of the faces (n, 2)."""
        return np.asarray(self.corner_mm + uv_mm @ self.axes)


def density_input(thickness_mm: float | None) -> Input:
    """Mass of bare board for each mm², in g, for a thickness; common boards if None."""
    known = load_inputs("board_mass")["board_areal_density"]
    k = (thickness_mm or COMMON_THICKNESS_MM) / COMMON_THICKNESS_MM * _G_PER_CM2_TO_G_PER_MM2
    scaled = Distribution(known.distribution.kind, tuple(p * k for p in known.distribution.parameters))
    return replace(known, name=f"board_areal_density:{thickness_mm or 0:g}", distribution=scaled, unit="g/mm2")


def cut_board(
    done: Measurement, outline: FloatArray, members: frozenset[int], thickness_mm: float | None = None
) -> CutBoard:
    """One board of a measurement in its own axes.

    Args:
        done: measured with scale.
        outline: (k, 2), in the plane of the faces, mm.
        members: labels of the regions on it.
        thickness_mm: of the board, for its mass.

    Raises:
        RefusedError: no scale, or no gold on it.
    """
    scale = done.scale
    if scale is None:
        raise RefusedError(
            "cut-without-scale",
            "Without scale there are no places in millimetres to cut at.",
            "Lay the printed target beside the boards, or give a known length (--length).",
        )
    corner, axes, size, edges = _frame(outline, scale)
    shape = (max(1, math.ceil(size[0] / STEP_MM)), max(1, math.ceil(size[1] / STEP_MM)))
    solid = _material((outline - corner) @ axes.T, shape)
    plated, contact = _plated(done, scale, members, corner, axes, shape)
    if not any(float(p.sum()) > 0 for p in plated.values()):
        raise RefusedError(
            "no-gold-to-keep",
            "No gold plating was found on this board.",
            "Leave it out of the batch, or photograph its other face.",
        )
    gold = sum((plated[f] * _mg_per_mm2(done, f) for f in plated), np.zeros(shape))
    seen = sum(plated.values(), np.zeros(shape))
    density = density_input(thickness_mm)
    per_mm2 = float(np.median(density.draws()))
    largest = max(
        (r for r in done.regions.regions if r.number in members and _is_contact(r.finish, r.row, r.length)),
        key=lambda r: r.length,
        default=None,
    )
    return CutBoard(
        outline_mm=outline,
        grid=BoardGrid(STEP_MM, gold, solid * per_mm2, contact, seen > _GOLD_CELL * STEP_MM**2),
        corner_mm=corner,
        axes=axes,
        edges=edges,
        plated_mm2=plated,
        solid_mm2=solid,
        area_mm2=float(solid.sum()),
        density=density,
        contact_mm=(largest.length, largest.width) if largest is not None else None,
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


def _is_contact(finish: Finish, row: int | None, length_mm: float) -> bool:
    return row is not None or (finish == "hard_gold" and length_mm <= _LONGEST_CONTACT_MM)


def _plated(
    done: Measurement,
    scale: Scale,
    members: frozenset[int],
    corner: FloatArray,
    axes: FloatArray,
    shape: tuple[int, int],
) -> tuple[dict[Finish, FloatArray], NDArray[np.bool_]]:
    """mm² of plating by finish in each cell, and which cells hold a contact."""
    regions = done.regions
    finish = np.full(len(regions.regions) + 1, -1)
    contact = np.zeros(len(finish), bool)
    for r in regions.regions:
        if r.number in members:
            finish[r.number] = FINISHES.index(r.finish)
            contact[r.number] = _is_contact(r.finish, r.row, r.length)
    ys, xs = np.nonzero(finish[regions.labels] >= 0)
    label = regions.labels[ys, xs]
    px = np.column_stack([xs, ys]).astype(np.float64)
    area = done.coverage.share[ys, xs] / 255.0 * scale.plane.pixel_area_mm2(px)
    places: NDArray[np.int64] = np.floor((scale.plane.to_mm(px) - corner) @ axes.T / STEP_MM).astype(np.int64)
    # plating may stick out of a smoothed outline by a little
    inside = np.clip(places, 0, np.array(shape) - 1)
    place = inside[:, 0] * shape[1] + inside[:, 1]
    plated: dict[Finish, FloatArray] = {}
    for i, name in enumerate(FINISHES):
        own = finish[label] == i
        if own.any():
            plated[name] = _in_cells(place[own], area[own], shape)
    on = contact[label]
    return plated, _in_cells(place[on], area[on], shape) > _GOLD_CELL * STEP_MM**2


def _in_cells(place: NDArray[np.int64], area: FloatArray, shape: tuple[int, int]) -> FloatArray:
    return np.asarray(np.bincount(place, area, shape[0] * shape[1]), np.float64).reshape(shape)


def _mg_per_mm2(done: Measurement, finish: Finish) -> float:
    """Median gold for each mm² of a finish, as measured."""
    if done.gold is None or done.area is None or finish not in done.gold.by_finish:
        return 0.0
    area = float(np.median(done.area.by_finish[finish].draws()))
    return float(np.median(done.gold.by_finish[finish].draws())) / area if area > 0 else 0.0
