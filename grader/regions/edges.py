"""Long straight lines in a plan view, and where along each of them the picture shows an edge."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.regions.plan_view import PlanView
from grader.threads import in_parallel

STEP_MM = 1.0
PARALLEL = np.radians(8.0)

_SHORTEST_MM = 6.0  # of a segment
_LEAST_MM = 10.0  # of all segments on one line
_MOST_LINES = 80
_ONE_LINE_RAD, _ONE_LINE_MM = np.radians(3.0), 1.2
_BESIDE_MM = 0.8  # an edge may lie this far beside its line
_LEAST_SLOPE = 6.0  # ΔE*ab for each mm across an edge
_ACROSS = 0.85  # share of the slope that points across the line
_BEYOND_MM = 1.5  # an outline is known to about this
_CODES_PER_UNIT = 2.5  # of the 8-bit picture that segments are looked for in


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight lines of a view, sampled every ``STEP_MM`` all across it.

    Attributes:
        angle: float64 (n,), radians, 0..π.
        point: float64 (n, 2), a place on each, mm in the view.
        along: float64 (n, 2), its direction.
        across: float64 (n, 2), a quarter turn from its direction.
        places: float64 (n, s, 2), its samples; sample k of each lies (k - s // 2) steps from ``point``.
        edge: bool (n, s): whether the picture shows an edge along it there.
    """

    angle: FloatArray
    point: FloatArray
    along: FloatArray
    across: FloatArray
    places: FloatArray
    edge: NDArray[np.bool_]

    def crossings(self) -> FloatArray:
        """Distance in mm (n, n) from ``point`` of each line to where each other crosses it; inf for parallels."""
        facing = self.along @ self.across.T
        offset = ((self.point[None] - self.point[:, None]) * self.across[None]).sum(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(np.where(np.abs(facing) > np.sin(np.radians(1.0)), offset / facing, np.inf))

    def index(self, at_mm: FloatArray) -> NDArray[np.intp]:
        """Sample number of distances from ``point``, kept within the samples."""
        samples = self.edge.shape[1]
        return np.asarray(np.clip(np.nan_to_num(at_mm / STEP_MM + samples // 2), 0, samples), np.intp)

    def look_up(self, view: PlanView, picture: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """A mask of the view at every sample, bool (n, s); False outside the view."""
        return np.asarray(_sampled(picture, self.places * view.px_per_mm), bool)


def find_lines(view: PlanView) -> Lines:
    """Lines with at least a minimum length of segments on them, longest first."""
    angle, point = _merged(_segments(view))
    along = np.column_stack([np.cos(angle), np.sin(angle)])
    across = np.column_stack([-along[:, 1], along[:, 0]])
    reach = int(np.hypot(*view.inside.shape) / view.px_per_mm / STEP_MM) + 1
    steps = np.arange(-reach, reach + 1) * STEP_MM
    places = point[:, None] + steps[None, :, None] * along[:, None]
    side = 2 * round(_BEYOND_MM * view.px_per_mm) + 1
    near = cv2.dilate(view.inside.astype(np.uint8), np.ones((side, side), np.uint8)) > 0
    line, sample = np.nonzero(_sampled(near, places * view.px_per_mm))
    at, normal = places[line, sample], across[line]
    seen = np.zeros(len(line), bool)
    slopes = _slopes(view)
    for beside in np.arange(-_BESIDE_MM, _BESIDE_MM + 1e-6, 1 / view.px_per_mm):
        x, y, steepness = np.moveaxis(_sampled(slopes, (at + beside * normal) * view.px_per_mm), -1, 0)
        facing = np.abs(x * normal[:, :1] + y * normal[:, 1:])
        seen |= ((facing > _LEAST_SLOPE) & (facing > _ACROSS * steepness)).any(axis=1)
    edge = np.zeros(places.shape[:2], bool)
    edge[line, sample] = seen
    return Lines(angle, point, along, across, places, edge)


def _segments(view: PlanView) -> FloatArray:
    """Straight segments (n, 4) in mm, from each layer separately: boards may differ only in hue."""
    found = in_parallel(_segments_px, np.moveaxis(view.layers, 2, 0))
    segments = np.concatenate(found).astype(np.float64) / view.px_per_mm
    return np.asarray(segments[np.hypot(*(segments[:, 2:] - segments[:, :2]).T) >= _SHORTEST_MM])


def _segments_px(layer: NDArray[np.float32]) -> NDArray[np.float32]:
    codes = np.clip((layer - np.median(layer)) * _CODES_PER_UNIT + 127, 0, 255).astype(np.uint8)
    segments = cv2.createLineSegmentDetector().detect(codes)[0]
    return np.zeros((0, 4), np.float32) if segments is None else np.asarray(segments.reshape(-1, 4), np.float32)


def _merged(segments: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Angles (n,) and middles (n, 2) of lines through segments that lie on one line."""
    step = segments[:, 2:] - segments[:, :2]
    length = np.hypot(*step.T)
    angle = np.arctan2(step[:, 1], step[:, 0]) % np.pi
    ends = segments.reshape(-1, 2, 2)
    x0, y0, x1, y1 = segments.T
    free = np.ones(len(segments), bool)
    found = []
    for i in np.argsort(-length, kind="stable").tolist():
        if not free[i]:
            continue
        (x, y), (nx, ny) = ends[i].mean(axis=0), (-np.sin(angle[i]), np.cos(angle[i]))
        off = np.maximum(np.abs((x0 - x) * nx + (y0 - y) * ny), np.abs((x1 - x) * nx + (y1 - y) * ny))
        own = free & (turn_between(angle, angle[i]) < _ONE_LINE_RAD) & (off < _ONE_LINE_MM)
        free &= ~own
        if length[own].sum() >= _LEAST_MM:
            found.append((float(length[own].sum()), *_through(ends[own].reshape(-1, 2), np.repeat(length[own], 2))))
    found.sort(key=lambda f: -f[0])
    kept = found[:_MOST_LINES]
    return np.array([a for _, a, _ in kept]), np.array([p for _, _, p in kept]).reshape(-1, 2)


def _through(points: FloatArray, weight: FloatArray) -> tuple[float, FloatArray]:
    middle = np.average(points, axis=0, weights=weight)
    _, _, axes = np.linalg.svd((points - middle) * np.sqrt(weight)[:, None], full_matrices=False)
    return float(np.arctan2(axes[0, 1], axes[0, 0]) % np.pi), middle


def turn_between(a: FloatArray | float, b: FloatArray | float) -> FloatArray:
    """Angle between undirected lines, radians, 0..π/2."""
    return np.asarray(np.abs((np.asarray(a) - b + np.pi / 2) % np.pi - np.pi / 2))


def _slopes(view: PlanView) -> NDArray[np.float32]:
    """Slopes of each layer in x and y and their length, (height, width, k, 3)."""
    k = view.px_per_mm / 8
    x, y = (cv2.Sobel(view.layers, cv2.CV_32F, dx, 1 - dx, scale=k) for dx in (1, 0))
    shape = view.layers.shape
    return np.stack([x.reshape(shape), y.reshape(shape), np.hypot(x, y).reshape(shape)], axis=-1)


def _sampled(picture: NDArray[np.float32] | NDArray[np.bool_], at_px: FloatArray) -> NDArray[np.float32]:
    """Nearest values (…, further axes of the picture) at places (…, 2); 0 outside."""
    x, y = np.moveaxis(np.round(at_px).astype(np.intp), -1, 0)
    height, width = picture.shape[:2]
    within = (x >= 0) & (y >= 0) & (x < width) & (y < height)
    values = np.zeros((*within.shape, *picture.shape[2:]), picture.dtype)
    values[within] = picture[y[within], x[within]]
    return values
