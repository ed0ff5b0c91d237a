"""Plane geometry in millimetres: rounded rectangles, rings, letters, and triangles made of them."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

Array = NDArray[Any]
Rect = tuple[float, float, float, float]


def rounded(x0: float, y0: float, x1: float, y1: float, radius: float = 0.0, segments: int = 3) -> Any:
    """A rectangle with round corners."""
    radius = min(radius, 0.49 * (x1 - x0), 0.49 * (y1 - y0))
    if radius <= 0:
        return box(x0, y0, x1, y1)
    core = box(x0 + radius, y0 + radius, x1 - radius, y1 - radius)
    return core.buffer(radius, quad_segs=segments)


def circle(x: float, y: float, radius: float, segments: int = 8) -> Any:
    """A disc as a polygon of 4 × ``segments`` corners."""
    return Point(x, y).buffer(radius, quad_segs=segments)


def polygons(shape: Any) -> list[Any]:
    """The polygons that a shape of any kind consists of."""
    if shape is None or shape.is_empty:
        return []
    if isinstance(shape, Polygon):
        return [shape]
    return [p for part in getattr(shape, "geoms", []) for p in polygons(part)]


def rect_triangles(rects: Sequence[Rect] | Array) -> Array:
    """Triangles of rectangles: (2 n, 3, 2), counter-clockwise."""
    r = np.asarray(rects, float).reshape(-1, 4)
    a, b, c, d = (np.stack([r[:, i], r[:, j]], 1) for i, j in ((0, 1), (2, 1), (2, 3), (0, 3)))
    return np.stack([np.stack([a, b, c], 1), np.stack([a, c, d], 1)], 1).reshape(-1, 3, 2)


def poly_triangles(shapes: Sequence[Any]) -> tuple[Array, Array]:
    """Triangles of polygons, counter-clockwise: (n, 3, 2), and which shape each belongs to (n,)."""
    pairs = [(p, i) for i, s in enumerate(shapes) for p in polygons(s)]
    if not pairs:
        return np.zeros((0, 3, 2)), np.zeros(0, int)
    parts = shapely.constrained_delaunay_triangles(np.array([p for p, _ in pairs], object))
    each, owner = shapely.get_parts(parts, return_index=True)
    corners = shapely.get_coordinates(each).reshape(-1, 4, 2)[:, :3]
    u, v = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    twice = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    corners[twice < 0] = corners[twice < 0][:, ::-1]
    kept = np.abs(twice) > 1e-12
    return corners[kept], np.array([i for _, i in pairs])[owner[kept]]


@lru_cache(maxsize=2048)
def letters(text: str, font: int = cv2.FONT_HERSHEY_SIMPLEX) -> Any:
    """A line of stroke letters of cap height 1 with its lower left corner at the origin, as one shape."""
    size, stroke, lead = 2.0, 6, 12
    (width, height), base = cv2.getTextSize(text, font, size, stroke)
    picture = np.zeros((height + base + 30, width + 30), np.uint8)
    cv2.putText(picture, text, (lead, height + lead), font, size, 255, stroke)
    rings, levels = cv2.findContours(picture, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_TC89_L1)
    made = []
    for i, ring in enumerate(rings):
        if levels[0][i][3] >= 0 or len(ring) < 3:
            continue
        inner, j = [], levels[0][i][2]
        while j >= 0:
            if len(rings[j]) >= 3:
                inner.append(_letter_ring(rings[j], lead, height + lead))
            j = levels[0][j][0]
        made.append(Polygon(_letter_ring(ring, lead, height + lead), inner).buffer(0))
    return shapely.MultiPolygon([p for shape in made for p in polygons(shape)])


def _letter_ring(ring: Array, left: int, base: int) -> list[tuple[float, float]]:
    return [((float(p[0][0]) - left) / 42, (base - float(p[0][1])) / 42) for p in ring]


@lru_cache(maxsize=2048)
def _letter_triangles(text: str) -> Array:
    return poly_triangles([letters(text)])[0]


def placed(points: Array, scale: float, x: float, y: float, turn_deg: float = 0.0) -> Array:
    """Points scaled, turned about the origin and moved."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    return points @ (scale * np.array([[c, s], [-s, c]])) + (x, y)


def text_triangles(text: str, height: float, x: float, y: float, turn_deg: float = 0.0) -> Array:
    """Triangles of a line of letters: (n, 3, 2)."""
    return placed(_letter_triangles(text), height, x, y, turn_deg)


def text_shape(text: str, height: float, x: float, y: float, turn_deg: float = 0.0) -> Any:
    """A line of letters as a shape."""
    return shapely.transform(letters(text), lambda p: placed(p, height, x, y, turn_deg))


class Flat:
    """A flat layer: rectangles, shapes and ready triangles that need not be disjoint."""

    def __init__(self) -> None:
        self.rects: list[Rect] = []
        self.shapes: list[Any] = []
        self.loose: list[Array] = []

    def __bool__(self) -> bool:
        return bool(self.rects or self.shapes or self.loose)

    def triangles(self) -> tuple[Array, Array]:
        """Triangles (n, 3, 2) and the piece that each belongs to (n,)."""
        first = rect_triangles(self.rects) if self.rects else np.zeros((0, 3, 2))
        second, owner = poly_triangles(self.shapes)
        loose = np.concatenate(self.loose) if self.loose else np.zeros((0, 3, 2))
        count = len(self.rects)
        owners = [np.repeat(np.arange(count), 2), owner + count, np.full(len(loose), count + len(self.shapes))]
        return np.concatenate([first, second, loose]), np.concatenate(owners)

    def area(self) -> float:
        """Area of everything together, overlaps once, in mm²."""
        made = [box(*r) for r in self.rects] + list(self.shapes) + [Polygon(t) for a in self.loose for t in a]
        return float(shapely.union_all(np.array(made, object)).area) if made else 0.0

    def draw(self, picture: Array, per_mm: float, value: float = 1.0) -> None:
        """Draw the layer on a picture whose first row is y = 0."""
        for r in self.rects:
            a, b, c, d = (round(v * per_mm) for v in r)
            picture[max(b, 0) : d, max(a, 0) : c] = value
        for shape in self.shapes:
            for p in polygons(shape):
                rings = [
                    np.round(np.asarray(q.coords) * per_mm * 16).astype(np.int32) for q in (p.exterior, *p.interiors)
                ]
                cv2.fillPoly(picture, rings, value, cv2.LINE_AA, 4)
