"""A board in its own axes: cells with material and, for each face that was seen, plating."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.scale import FacePlane
from calibration.sourced import load_inputs
from grader.area import RegionKind
from grader.cut.grid import BoardGrid, sum_over
from grader.model import EMPTY, ProductModel

BoxMm = tuple[float, float, float, float]

STEP_MM = 0.5
GOLD_CELL = 0.05  # share of a cell from which it counts as plated
COMMON_THICKNESS_MM = 1.6
_G_PER_CM2_TO_G_PER_MM2 = 0.01
_ALONG_MM = 0.25


@dataclass(frozen=True, eq=False)
class CutFace:
    """The plating of one face in its board's cells.

    Attributes:
        plated_mm2: for each kind of regions, float64 (n, m).
        contact: bool (n, m), cells with a contact.
        gold_per_mm2: mg of gold for each mm² of a kind, with the inputs that it was measured with.
        area_per_mm2: likewise, how many mm² are there for each mm² found.
        contact_mm: length and width of its largest contact; None if it has none.
    """

    plated_mm2: Mapping[RegionKind, FloatArray]
    contact: NDArray[np.bool_]
    gold_per_mm2: Mapping[RegionKind, ProductModel]
    area_per_mm2: Mapping[RegionKind, ProductModel]
    contact_mm: tuple[float, float] | None

    def gold_mg(self, rectangle: BoxMm) -> ProductModel:
        """Gold inside a rectangle (u0, u1, v0, v1), mm."""
        return self._sum(self.gold_per_mm2, rectangle)

    def area_mm2(self, rectangle: BoxMm) -> ProductModel:
        """Plated area inside a rectangle."""
        return self._sum(self.area_per_mm2, rectangle)

    def _sum(self, per_mm2: Mapping[RegionKind, ProductModel], rectangle: BoxMm) -> ProductModel:
        parts = (
            per_mm2[kind].times((), area)
            for kind, cells in self.plated_mm2.items()
            if (area := sum_over(cells, STEP_MM, rectangle)) > 0
        )
        return sum(parts, EMPTY)


@dataclass(frozen=True, eq=False)
class CutBoard:
    """One board of a photo, ready to be planned.

    Attributes:
        outline_mm: float64 (k, 2), in the plane of the front's photo.
        plane: that plane.
        corner_mm: float64 (2,), where its axes begin, in that plane.
        axes: float64 (2, 2), the directions of its axes there, one a row.
        edges: names of the edges at which the first and second axis begin, as in the front's photo.
        solid_mm2: float64 (n, m), material of each cell.
        faces: those that were seen, the front first.
        scale_inputs: factors on every area of it.
        density: mass for each mm², g.
        outline_offset: how far its outline was drawn outside the true one, mm.
        uncertainty_mm: how far a place may be off when measured from the nearer edge, standard.
    """

    outline_mm: FloatArray
    plane: FacePlane
    corner_mm: FloatArray
    axes: FloatArray
    edges: tuple[str, str]
    solid_mm2: FloatArray
    faces: tuple[CutFace, ...]
    scale_inputs: tuple[Input, ...]
    density: Input
    outline_offset: Input
    uncertainty_mm: float

    @cached_property
    def grid(self) -> BoardGrid:
        """Its cells as a plan needs them, with the gold of all its faces."""
        shape = self.solid_mm2.shape
        gold, plated, contact = np.zeros(shape), np.zeros(shape), np.zeros(shape, bool)
        for face in self.faces:
            contact |= face.contact
            for kind, cells in face.plated_mm2.items():
                gold += cells * float(np.median(face.gold_per_mm2[kind].draws()))
                plated += cells
        per_mm2 = float(np.median(self.density.draws()))
        return BoardGrid(STEP_MM, gold, self.solid_mm2 * per_mm2, contact, plated > GOLD_CELL * STEP_MM**2)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Length and width."""
        n, m = self.solid_mm2.shape
        return n * STEP_MM, m * STEP_MM

    @property
    def contact_mm(self) -> tuple[float, float] | None:
        """Length and width of the largest contact; None if there is none."""
        return max((f.contact_mm for f in self.faces if f.contact_mm is not None), default=None)

    @property
    def outline_uv(self) -> FloatArray:
        """The outline (k, 2) in the board's own axes, mm."""
        return np.asarray((self.outline_mm - self.corner_mm) @ self.axes.T)

    def to_px(self, uv_mm: FloatArray) -> FloatArray:
        """Places on the board (n, 2) in mm → its front's photo (n, 2) in px."""
        return self.plane.to_px(np.asarray(self.corner_mm + uv_mm @ self.axes))

    def gold_mg(self, rectangle: BoxMm | None = None) -> ProductModel:
        """Gold of all faces inside a rectangle (u0, u1, v0, v1), mm; of the whole board if None."""
        where = rectangle if rectangle is not None else self.whole
        return sum((face.gold_mg(where) for face in self.faces), EMPTY)

    def plated_area_mm2(self, rectangle: BoxMm) -> ProductModel:
        """Plated area of all faces inside a rectangle."""
        return sum((face.area_mm2(rectangle) for face in self.faces), EMPTY)

    def mass_g(self, rectangle: BoxMm | None = None) -> ProductModel:
        """Mass of bare board inside a rectangle, or of the whole board."""
        where = rectangle if rectangle is not None else self.whole
        solid = sum_over(self.solid_mm2, STEP_MM, where)
        factors = (*self.scale_inputs, self.density)
        # drawn too far out by e, an outline of length L takes e × L of board along that is not there
        too_much = ProductModel.of(-self._outline_in(where), (*factors, self.outline_offset))
        return ProductModel.of(solid, factors) + too_much

    def _outline_in(self, rectangle: BoxMm) -> float:
        """Length of the outline inside a rectangle, mm; each part of it lies in one piece only."""
        points = self._outline_points
        u0, u1, v0, v1 = rectangle
        _, length, _, width = self.whole
        in_u = (points[:, 0] >= u0) & ((points[:, 0] < u1) | (u1 >= length))
        in_v = (points[:, 1] >= v0) & ((points[:, 1] < v1) | (v1 >= width))
        return float(np.count_nonzero(in_u & in_v) * _ALONG_MM)

    @cached_property
    def _outline_points(self) -> FloatArray:
        """Middles of the outline's parts of equal length (n, 2) in the board's axes."""
        closed = np.concatenate([self.outline_uv, self.outline_uv[:1]])
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
        at = np.arange(_ALONG_MM / 2, along[-1], _ALONG_MM)
        return np.column_stack([np.interp(at, along, closed[:, axis]) for axis in (0, 1)])

    @property
    def whole(self) -> BoxMm:
        """The rectangle that holds all of it."""
        length, width = self.size_mm
        return 0.0, length, 0.0, width


def density_input(thickness_mm: float | None) -> Input:
    """Mass of bare board for each mm², in g, for a thickness; common boards if None."""
    known = load_inputs("board_mass")["board_areal_density"]
    k = (thickness_mm or COMMON_THICKNESS_MM) / COMMON_THICKNESS_MM * _G_PER_CM2_TO_G_PER_MM2
    scaled = Distribution(known.distribution.kind, tuple(p * k for p in known.distribution.parameters))
    return replace(known, of=(f"{thickness_mm or 0:g}",), distribution=scaled, unit="g/mm2")


def outline_offset_input(photo_id: str, number: int) -> Input:
    """How far one board's outline was drawn outside the true one, in mm."""
    known = load_inputs("board_errors")["outline_offset"]
    return replace(known, kind="outline", of=(photo_id, str(number)))
