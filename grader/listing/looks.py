"""Looks: one board as one photo shows it, with the data for comparing it with looks in other photos."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.photo import Photo

_PATCH_PX = 240  # longer side of a board laid straight, for comparison by eye
_FEATURE_PX = 900  # longer side at which features are looked for, so that near looks show no more than far ones
_MOST_FEATURES = 600
_AROUND = 0.04  # margin kept round an outline, as a share of the longer side
_AT_FRAME_PX = 4.0
_FEWEST_CORNERS = 3
_SAME_AREA = 0.06  # share of the area by which a quadrangle may differ from the outline that it stands for

Homography = FloatArray  # (3, 3), photo px to photo px


@dataclass(frozen=True, eq=False)
class Look:
    """One outline in one photo.

    Attributes:
        photo: its place in the list of photos.
        board: index of its outline in that photo.
        outline_px: float64 (k, 2), in the photo.
        corners_px: float64 (4, 2), its four corners, or those of the smallest rectangle round it; long edge first.
        is_cut: whether the frame cuts it off.
        is_hidden: whether another board lies on it.
        points_px: float32 (n, 2), places of its features in the photo.
        features: float32 (n, 128), of unit length.
        patch: uint8 (h, w, 3), the board laid straight.
        inside: uint8 (h, w), 255 where the patch shows the board.
        plating: uint8 (h, w), plated share of each pixel of the patch, × 255.
        to_patch: (3, 3), photo px to px of the patch.
        frame: height and width of the photo.
    """

    photo: int
    board: int
    outline_px: FloatArray
    corners_px: FloatArray
    is_cut: bool
    is_hidden: bool
    points_px: NDArray[np.float32]
    features: NDArray[np.float32]
    patch: NDArray[np.uint8]
    inside: NDArray[np.uint8]
    plating: NDArray[np.uint8]
    to_patch: Homography
    frame: tuple[int, int]

    @property
    def area_px(self) -> float:
        """Area inside the outline, px²."""
        return float(cv2.contourArea(self.outline_px.astype(np.float32)))

    @property
    def sides_px(self) -> tuple[float, float]:
        """Longer and shorter side of the rectangle."""
        edges = np.hypot(*(np.roll(self.corners_px, -1, axis=0) - self.corners_px).T)
        return float(edges[0]), float(edges[1])

    @property
    def px_across(self) -> float:
        """Size in the photo, px: square root of its area."""
        return float(np.sqrt(self.area_px))


def look_at(
    photo: Photo, share: NDArray[np.uint8], place: int, board: int, outline_px: FloatArray, *, is_hidden: bool
) -> Look | None:
    """The look at one outline; None for one that is too small to compare.

    Args:
        photo: the photo that shows it.
        share: plated share of each pixel, × 255, of the photo's size.
        place: index of the photo in its list.
        board: index of the outline.
        outline_px: the outline, (k, 2).
        is_hidden: whether another board lies on it.
    """
    if len(outline_px) < _FEWEST_CORNERS:
        return None
    ring = np.asarray(outline_px, np.float32)
    corners = _rectangle(ring)
    long, short = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[1]))
    if short < 8:
        return None
    size = (_PATCH_PX, max(16, round(float(_PATCH_PX * short / long))))
    to_patch = _onto(corners, size)
    patch, inside = laid_straight(photo.rgb, ring, to_patch, size, float(long) / _PATCH_PX)
    points, features = _features(photo.rgb, ring)
    return Look(
        place,
        board,
        np.asarray(outline_px, np.float64),
        corners,
        _is_cut(ring, photo.rgb.shape),
        is_hidden,
        points,
        features,
        patch,
        inside,
        laid_straight(share, ring, to_patch, size, float(long) / _PATCH_PX)[0],
        to_patch,
        (photo.height_px, photo.width_px),
    )


def laid_straight(
    rgb: NDArray[np.uint8], ring: NDArray[np.float32], to_patch: FloatArray, size: tuple[int, int], shrink: float
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """A board laid straight, and a mask of where that picture shows it.

    Args:
        rgb: the photo, or another picture of its size.
        ring: its outline in the photo.
        to_patch: (3, 3).
        size: width and height of the picture.
        shrink: px of the photo per px of the picture; above one the photo is smoothed first.
    """
    height, width = rgb.shape[:2]
    x0, y0 = np.maximum(np.floor(ring.min(0)).astype(int) - 8, 0)
    x1, y1 = np.minimum(np.ceil(ring.max(0)).astype(int) + 9, (width, height))
    crop = rgb[y0:y1, x0:x1]
    if shrink > 1.3:
        crop = cv2.GaussianBlur(crop, (0, 0), 0.45 * shrink)
    moved = to_patch @ np.array([[1.0, 0, x0], [0, 1, y0], [0, 0, 1]])
    patch = cv2.warpPerspective(crop, moved, size, flags=cv2.INTER_LINEAR)
    inside = np.zeros((size[1], size[0]), np.uint8)
    in_patch = cv2.perspectiveTransform(ring[None].astype(np.float64), to_patch)[0]
    cv2.fillPoly(inside, [np.round(in_patch * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
    return np.asarray(patch, np.uint8), inside


def _rectangle(ring: NDArray[np.float32]) -> FloatArray:
    """Four corners round an outline, clockwise as seen, a long edge first: its own corners where it has four."""
    corners = _quadrangle(ring)
    if corners is None:
        corners = np.asarray(cv2.boxPoints(cv2.minAreaRect(ring)), np.float64)
    if _turns_left(corners):
        corners = corners[::-1].copy()
    first, second = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[1]))
    return corners if first >= second else np.roll(corners, -1, axis=0)


def _quadrangle(ring: NDArray[np.float32]) -> FloatArray | None:
    """The four corners of an outline that has just four, such as a rectangle seen at an angle."""
    hull = cv2.convexHull(ring)
    whole, length = float(cv2.contourArea(hull)), float(cv2.arcLength(hull, closed=True))
    for share in (0.02, 0.03, 0.04, 0.05, 0.06):
        corners = cv2.approxPolyDP(hull, share * length, closed=True)
        if len(corners) == 4:
            same = abs(float(cv2.contourArea(corners)) / max(whole, 1.0) - 1) < _SAME_AREA
            return np.asarray(corners, np.float64).reshape(4, 2) if same else None
    return None


def _turns_left(corners: FloatArray) -> bool:
    x, y = corners.T
    return float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) < 0


def _onto(corners: FloatArray, size: tuple[int, int]) -> FloatArray:
    width, height = size
    straight = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(corners.astype(np.float32), straight), np.float64)


def _is_cut(ring: NDArray[np.float32], shape: tuple[int, ...]) -> bool:
    """Whether a considerable part of the outline runs along the frame."""
    height, width = shape[:2]
    closed = np.vstack([ring, ring[:1]])
    middles, lengths = (closed[1:] + closed[:-1]) / 2, np.hypot(*np.diff(closed, axis=0).T)
    at = (
        (middles[:, 0] < _AT_FRAME_PX)
        | (middles[:, 1] < _AT_FRAME_PX)
        | (middles[:, 0] > width - 1 - _AT_FRAME_PX)
        | (middles[:, 1] > height - 1 - _AT_FRAME_PX)
    )
    return float(lengths[at].sum()) > 2 * _AT_FRAME_PX


def _features(rgb: NDArray[np.uint8], ring: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Places (n, 2) in the photo and descriptors (n, 128): square roots of SIFT's descriptors that add up to one."""
    height, width = rgb.shape[:2]
    margin = _AROUND * float(np.ptp(ring, axis=0).max())
    x0, y0 = np.maximum(np.floor(ring.min(0) - margin).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(ring.max(0) + margin + 1).astype(int), (width, height))
    grey = cv2.cvtColor(np.ascontiguousarray(rgb[y0:y1, x0:x1]), cv2.COLOR_RGB2GRAY)
    k = _FEATURE_PX / max(grey.shape)
    k = min(k, 2.0)  # small boards are enlarged
    grey = cv2.resize(grey, None, fx=k, fy=k, interpolation=cv2.INTER_AREA if k < 1 else cv2.INTER_CUBIC)
    inside = np.zeros(grey.shape, np.uint8)
    shift = np.array([x0, y0], np.float32)
    cv2.fillPoly(inside, [np.round((ring - shift) * k).astype(np.int32)], 255)
    inside = cv2.dilate(inside, np.ones((3, 3), np.uint8), iterations=2)
    found, described = cv2.SIFT.create(_MOST_FEATURES, contrastThreshold=0.02).detectAndCompute(grey, inside)
    if described is None or len(found) == 0:
        return np.zeros((0, 2), np.float32), np.zeros((0, 128), np.float32)
    points = np.array([p.pt for p in found], np.float32) / k + shift
    total = described.sum(1, keepdims=True)
    return points, np.sqrt(described / np.maximum(total, 1e-6)).astype(np.float32)
