"""One piece of the things on the table, seen square on, coarse and in millimetres: enough to tell its boards apart.

Outlines are found in this view; nothing is measured in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.photo import shrunk

_PX_PER_MM = 2.5
_MOST_SIDE_PX = 1000
_MARGIN_MM = 3.0
_NODE_PX = 16  # the map to the photo is exact at places this far apart, and linear between them
_BLUR_MM = 0.25
_OUTLINE_STEP = 60.0  # the piece's own outline counts as an edge of this contrast, ΔE*ab


@dataclass(frozen=True, eq=False)
class PlanView:
    """A piece in the plane of the faces.

    Attributes:
        layers: float32 (height, width, k): L*, a*, b* of the photo where there is one, and the piece itself.
        inside: bool (height, width): where the piece is.
        origin_mm: float64 (2,), where the middle of its first pixel lies.
        px_per_mm: of this view.
    """

    layers: NDArray[np.float32]
    inside: NDArray[np.bool_]
    origin_mm: FloatArray
    px_per_mm: float

    def to_plane(self, xy_px: FloatArray) -> FloatArray:
        """Places (n, 2) in px of this view → places in the plane, mm."""
        return np.asarray(xy_px / self.px_per_mm + self.origin_mm, np.float64)


def plan_view(contour_px: NDArray[np.int32], plane: FacePlane, rgb: NDArray[np.uint8] | None) -> PlanView:
    """The view of a piece.

    Args:
        contour_px: (n, 1, 2), its outline in the photo.
        plane: of the faces.
        rgb: the photo, uint8 (height, width, 3); None if only the outline is to be used.
    """
    outline = plane.to_mm(contour_px.reshape(-1, 2).astype(np.float64))
    low, high = outline.min(axis=0) - _MARGIN_MM, outline.max(axis=0) + _MARGIN_MM
    k = min(_PX_PER_MM, _MOST_SIDE_PX / float(max(high - low)))
    width, height = (max(4, int(n)) for n in np.ceil((high - low) * k))
    inside = np.zeros((height, width), np.uint8)
    cv2.fillPoly(inside, [np.round((outline - low) * k).astype(np.int32)], 1)
    own = cv2.GaussianBlur(inside.astype(np.float32) * _OUTLINE_STEP, (0, 0), max(0.8, 2 * _BLUR_MM * k))
    layers = [own[..., None]]
    if rgb is not None:
        seen = _seen(rgb, plane, low, k, (width, height))
        smooth = cv2.GaussianBlur(seen, (0, 0), max(0.8, _BLUR_MM * k)).astype(np.float32) / 255
        layers.insert(0, cv2.cvtColor(smooth, cv2.COLOR_RGB2LAB))
    return PlanView(np.concatenate(layers, axis=2), inside > 0, low, k)


def _seen(
    rgb: NDArray[np.uint8], plane: FacePlane, low: FloatArray, k: float, size: tuple[int, int]
) -> NDArray[np.uint8]:
    """The photo in the view, reduced to the view's resolution before it is sampled."""
    nodes = [np.linspace(0, n - 1, max(2, n // _NODE_PX + 1)) for n in size]
    places = np.stack(np.meshgrid(*nodes), -1)
    at = plane.to_px(places.reshape(-1, 2) / k + low)
    corner = np.floor(at.min(axis=0)).astype(int) - 2
    x0, y0 = np.maximum(corner, 0)
    x1, y1 = np.minimum(np.ceil(at.max(axis=0)).astype(int) + 3, [rgb.shape[1], rgb.shape[0]])
    if x0 >= x1 or y0 >= y1:
        return np.zeros((size[1], size[0], 3), np.uint8)
    cut = rgb[y0:y1, x0:x1]
    shrink = k * float(np.sqrt(np.mean(plane.pixel_area_mm2(at))))
    if shrink < 1:
        small = (max(1, round(cut.shape[1] * shrink)), max(1, round(cut.shape[0] * shrink)))
        factor = np.array(small) / [cut.shape[1], cut.shape[0]]
        cut = shrunk(cut, small)
    else:
        factor = np.ones(2)
    table = (((at - [x0, y0]) + 0.5) * factor - 0.5).astype(np.float32).reshape(places.shape)
    columns, rows = (np.linspace(0, len(n) - 1, s, dtype=np.float32) for n, s in zip(nodes, size, strict=True))
    table = cv2.remap(table, *np.meshgrid(columns, rows), cv2.INTER_LINEAR)
    return np.asarray(
        cv2.remap(cut, table[..., 0], table[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )
