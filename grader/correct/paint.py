"""All strokes of a photo together: what they hold, and how far their edges may be off."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.packaged import packaged_toml
from grader.correct.brush import FINE, Bits, bounds, patches
from grader.corrections import FilledIn, FilledOut, PaintedIn, PaintedOut, Point, Stroke
from grader.model import FINISHES

ALL_POINTS = FINE * FINE
_CROSS = cv2.getStructuringElement(cv2.MORPH_CROSS, (3, 3))


@dataclass(frozen=True, eq=False)
class Paint:
    """What all strokes together say of one part of the photo.

    Attributes:
        where: rows and columns of the photo.
        inside: uint16, points of each pixel that are painted in, as bits.
        outside: points that are painted out; no point is both.
        finish: uint8, index in ``FINISHES`` of what was last painted in.
    """

    where: tuple[slice, slice]
    inside: Bits
    outside: Bits
    finish: NDArray[np.uint8]

    @property
    def points_in(self) -> NDArray[np.uint8]:
        """Number of points of each pixel that are painted in, 0..``ALL_POINTS``."""
        return np.asarray(np.bitwise_count(self.inside), np.uint8)

    @property
    def points_out(self) -> NDArray[np.uint8]:
        """Number of points of each pixel that are painted out."""
        return np.asarray(np.bitwise_count(self.outside), np.uint8)

    def over(self, found: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The share of each pixel that is plated, where ``found`` (same size) is the share without the paint."""
        points_in = self.points_in.astype(np.float32)
        untouched = ALL_POINTS - points_in - self.points_out
        return np.asarray(np.rint((found * untouched + 255 * points_in) / ALL_POINTS), np.uint8)


def paint(strokes: Sequence[Stroke], shape: tuple[int, int]) -> Paint | None:
    """Strokes laid over each other in order; None if none touches the photo.

    Args:
        strokes: in order.
        shape: of the photo, (height, width).
    """
    boxes = [box for stroke in strokes if (box := bounds(stroke, shape)) is not None]
    if not boxes:
        return None
    where = (_hull([b[0] for b in boxes], shape[0]), _hull([b[1] for b in boxes], shape[1]))
    size = (where[0].stop - where[0].start, where[1].stop - where[1].start)
    out = Paint(where, np.zeros(size, np.uint16), np.zeros(size, np.uint16), np.zeros(size, np.uint8))
    for stroke in strokes:
        for patch in patches(stroke, shape):
            there = tuple(slice(s.start - w.start, s.stop - w.start) for s, w in zip(patch.where, where, strict=True))
            if isinstance(stroke, PaintedIn | FilledIn):
                out.inside[there] |= patch.bits
                out.outside[there] &= ~patch.bits
                out.finish[there][patch.bits > 0] = FINISHES.index(stroke.finish)
            else:
                out.outside[there] |= patch.bits
                out.inside[there] &= ~patch.bits
    return out


def _hull(spans: Sequence[slice], size: int) -> slice:
    """From the first to the last, with a pixel to spare for the rim."""
    return slice(max(min(s.start for s in spans) - 1, 0), min(max(s.stop for s in spans) + 1, size))


def edge_inputs(
    paint_: Paint, strokes: Sequence[Stroke], found: NDArray[np.uint8], rest_px: float, photo_id: str
) -> tuple[tuple[Input, ...], tuple[Input, ...]]:
    """The error of painted edges, as factors on area: of what was painted in, and of what was found and remains.

    An edge counts only where moving it would change the area: painting in beside bare board, or painting out across
    plating. The factor's spread is (distance that the edge may be off) × (area that a move by 1 px changes) ÷ (area),
    to first order.

    Args:
        paint_: all strokes.
        strokes: that made it.
        found: uint8, what was found where the paint is.
        rest_px: area in px of all that was found and remains.
        photo_id: the errors are this photo's alone.
    """
    points_in, points_out = paint_.points_in, paint_.points_out
    half = ALL_POINTS // 2
    bare = np.where(points_out == 0, 1 - found / 255.0, 0.0)
    plated = np.where(points_in == 0, found / 255.0, 0.0)
    gained = float(bare[_rim(points_in >= half)].sum())
    lost = float(plated[_rim(points_out >= half)].sum())
    painted_px = float(points_in.sum()) / ALL_POINTS
    inward = [s for s in strokes if isinstance(s, PaintedIn | FilledIn)]
    outward = [s for s in strokes if isinstance(s, PaintedOut | FilledOut)]
    return (
        _input("painted-in", "edges painted in by hand", photo_id, inward, gained, painted_px),
        _input("painted-out", "edges painted out by hand", photo_id, outward, lost, rest_px),
    )


def _rim(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray((cv2.dilate(mask.astype(np.uint8), _CROSS) > 0) & ~mask, bool)


def _input(
    name: str,
    title: str,
    photo_id: str,
    strokes: Sequence[Stroke],
    moved_px: float,
    area_px: float,
) -> tuple[Input, ...]:
    figures = _figures()
    if moved_px <= 0 or area_px <= 0:
        return ()
    sigma = min(_edge_px(strokes) * moved_px / area_px, figures["largest_sigma_log"])
    return (Input(name, title, Distribution("lognormal", (1.0, sigma)), figures["source"], of=(photo_id,)),)


def _edge_px(strokes: Sequence[Stroke]) -> float:
    """How far the strokes' edges may be off, one standard deviation; long edges count more."""
    return float(np.average([_off_px(s) for s in strokes], weights=[_edge_length(s) for s in strokes]))


def _off_px(stroke: Stroke) -> float:
    figures = _figures()
    if isinstance(stroke, PaintedIn | PaintedOut):
        return float(figures["least_px"] + figures["share_of_radius"] * stroke.radius_px)
    return float(figures["least_px"] + figures["screen_px"] * stroke.px_per_screen_px)


def _edge_length(stroke: Stroke) -> float:
    """The whole edge, px; of a brush that went to and fro, twice its path."""
    if isinstance(stroke, PaintedIn | PaintedOut):
        return 2 * (_length(stroke.path_px) + math.pi * stroke.radius_px)
    return _length((*stroke.corners_px, stroke.corners_px[0])) + 1.0  # a polygon may be no more than a place


def _length(path: tuple[Point, ...]) -> float:
    return float(np.hypot(*np.diff(np.array(path), axis=0).T).sum())


@functools.cache
def _figures() -> dict[str, Any]:
    return dict(packaged_toml("grader.correct", "data/painting.toml")["edge"])
