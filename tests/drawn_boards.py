"""Drawn boards with exact truth: contacts, pads and outlines as polygons, painted by the area they cover.

Colours mix in linear light, as on a sensor; the sRGB curve, the mixing and the areas
are this module's own arithmetic and share nothing with the code that measures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.inputs import Input
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.photo import Photo

Rgb = tuple[float, float, float]

# linear light, 0..1: plating in even daylight, solder mask, bare laminate, table
GOLD: Rgb = (0.62, 0.44, 0.15)
GREEN_MASK: Rgb = (0.02, 0.10, 0.04)
LAMINATE: Rgb = (0.25, 0.24, 0.12)
TABLE: Rgb = (0.30, 0.30, 0.31)


def box(centre: tuple[float, float], along: float, across: float, angle_deg: float = 0.0) -> FloatArray:
    """Corners (4, 2) of a rectangle, ``along`` in the direction of the angle (x towards y), any unit."""
    a = np.radians(angle_deg)
    u, v = np.array([np.cos(a), np.sin(a)]) * along / 2, np.array([-np.sin(a), np.cos(a)]) * across / 2
    return np.asarray(np.array([-u - v, u - v, u + v, v - u]) + np.asarray(centre, np.float64))


def contact_row(
    first: tuple[float, float],
    count: int,
    pitch: float,
    size: tuple[float, float],
    *,
    missing: Iterable[int] = (),
    key_after: int | None = None,
    key_gap: float = 0.0,
) -> list[FloatArray]:
    """Contacts side by side in x, each (4, 2).

    Args:
        first: centre of the first.
        count: places in the row.
        pitch: centre to centre.
        size: width (in x) and length (in y) of a contact.
        missing: places that are empty.
        key_after: places on the near side of a key; None for no key.
        key_gap: what the key adds to one step.
    """
    gone = set(missing)
    out = []
    for i in range(count):
        if i not in gone:
            shift = key_gap if key_after is not None and i >= key_after else 0.0
            out.append(box((first[0] + i * pitch + shift, first[1]), *size))
    return out


def polygon_area(corners: FloatArray) -> float:
    """Area of a convex polygon (k, 2), as the sum of triangles about its first corner."""
    arms = corners[1:] - corners[0]
    return float(np.abs(arms[:-1, 0] * arms[1:, 1] - arms[:-1, 1] * arms[1:, 0]).sum() / 2)


def polygon_share(corners_px: FloatArray, shape: tuple[int, int], fine: int = 16) -> FloatArray:
    """Share of each pixel that a convex polygon covers.

    Args:
        corners_px: (k, 2) going round, pixel coordinates (integer = pixel centre).
        shape: of the picture, (height, width).
        fine: samples along each side of a pixel that the outline crosses.

    Returns:
        float64 (height, width), 0..1.
    """
    height, width = shape
    share = np.zeros(shape)
    x0, y0 = np.maximum(np.floor(corners_px.min(axis=0)).astype(int) - 1, 0)
    x1, y1 = np.minimum(np.ceil(corners_px.max(axis=0)).astype(int) + 2, [width, height])
    if x0 >= x1 or y0 >= y1:
        return share
    xs, ys = np.meshgrid(np.arange(x0, x1), np.arange(y0, y1))
    depth = _depth(corners_px, np.column_stack([xs.ravel(), ys.ravel()]).astype(np.float64))
    inside = (depth > 0).astype(np.float64)
    edge = np.abs(depth) < 0.75
    steps = (np.arange(fine) + 0.5) / fine - 0.5
    offsets = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    centres = np.column_stack([xs.ravel()[edge], ys.ravel()[edge]])
    samples = (centres[:, None] + offsets[None]).reshape(-1, 2)
    inside[edge] = (_depth(corners_px, samples) > 0).reshape(-1, len(offsets)).mean(axis=1)
    share[y0:y1, x0:x1] = inside.reshape(xs.shape)
    return share


def _depth(corners: FloatArray, points: FloatArray) -> FloatArray:
    """Distance (n,) of points (n, 2) from the nearest edge's line, positive inside a convex polygon."""
    sides = np.roll(corners, -1, axis=0) - corners
    area = np.sum(corners[:, 0] * np.roll(corners[:, 1], -1) - corners[:, 1] * np.roll(corners[:, 0], -1))
    normals = np.column_stack([-sides[:, 1], sides[:, 0]]) * np.sign(area)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return np.asarray(np.min(points @ normals.T - np.sum(corners * normals, axis=1), axis=1))


def union_share(polygons_px: Sequence[FloatArray], shape: tuple[int, int]) -> FloatArray:
    """Share of each pixel covered by polygons that do not overlap, float64 (height, width)."""
    total = np.zeros(shape)
    for polygon in polygons_px:
        total += polygon_share(polygon, shape)
    return np.minimum(total, 1)


def paint(
    layers: Sequence[tuple[FloatArray, Rgb]], *, blur_px: float = 0.0, noise: float = 0.0, seed: int = 0
) -> NDArray[np.uint8]:
    """A picture of layers, one over the other, uint8 (height, width, 3), sRGB-encoded (IEC 61966-2-1).

    Args:
        layers: share of each pixel that the layer covers, float64 (height, width), and its colour in linear light.
        blur_px: standard deviation of the lens's blur.
        noise: standard deviation in codes.
        seed: of the noise.
    """
    light = np.zeros((*layers[0][0].shape, 3))
    for share, colour in layers:
        light += share[..., None] * (np.asarray(colour) - light)
    if blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
    codes = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    codes = codes + np.random.default_rng(seed).normal(0, noise, codes.shape) if noise else codes
    return np.clip(np.round(codes), 0, 255).astype(np.uint8)


@dataclass(frozen=True, eq=False)
class KnownCoverage:
    """A segmenter that knows the answer; it fulfils ``grader.coverage.Segmenter``.

    Attributes:
        share: float64 (height, width), 0..1.
        board: bool (height, width).
        area_inputs: error to claim.
        name: shown in reports.
    """

    share: FloatArray
    board: NDArray[np.bool_]
    area_inputs: tuple[Input, ...] = ()
    name: str = "truth"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        """The coverage that was given, whatever the photo shows."""
        del photo, scale
        return Coverage(np.round(255 * self.share).astype(np.uint8), self.board, self.name, self.area_inputs)


def drawn_pads(share: FloatArray) -> tuple[KnownCoverage, bytes]:
    """Plating on a green board that fills the photo: a segmenter that knows it, and the photo as PNG.

    Args:
        share: float64 (height, width), 0..1.
    """
    rgb = paint([(np.ones(share.shape), GREEN_MASK), (share, (0.8, 0.6, 0.25))])
    return KnownCoverage(share, np.ones(share.shape, bool), name="drawn"), bytes(
        cv2.imencode(".png", rgb[..., ::-1])[1]
    )
