"""Whether two looks show the same face of the same board: features, outlines and the pictures laid over each other.

Features (square roots of SIFT's descriptors) that are each other's best match give a homography. Where both outlines
are whole, their rectangles give others, two or four ways round, so that boards with few features are compared too.
The best way to lay one look over the other is the one under which the pictures agree most.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.listing.looks import Homography, Look, laid_straight
from grader.photo import Photo

_RATIO = 0.9  # best ÷ second best distance below which a feature counts
_FEWEST = 4
_MISS_SHARE = 0.012  # of the longer side: how far a feature may lie from where the other look has it
_SQUARE = 1.25  # longer ÷ shorter side below which a rectangle may lie four ways round
_ALIKE = 1.25  # slenderness of two whole looks at one board differs by less
_REFINE_FROM = 0.15  # agreement below which it is not worth refining
_SEED = 5


@dataclass(frozen=True, eq=False)
class Likeness:
    """Fit of one look laid on another.

    Attributes:
        agreement: correlation of the two pictures where both show the board, -1..1.
        matched: features that lie where the other look has them.
        matched_share: the same ÷ number of features of the look that has fewer.
        overlap: area that the outlines share ÷ area that either covers, within both frames.
        seen_share: share of the smaller look's board that both show.
        colour: distance of the mean colours in units of CIELAB.
        to_other: (3, 3), photo px of the first to photo px of the second.
    """

    agreement: float
    matched: int
    matched_share: float
    overlap: float
    seen_share: float
    colour: float
    to_other: Homography


def compare_looks(a: Look, b: Look, photos: tuple[Photo, Photo]) -> Likeness | None:
    """Agreement of two looks at boards in different photos; None where nothing lays one on the other."""
    tied = _matches(a, b)
    found = (_judge(a, b, photos, way, tied) for way in _ways(a, b, tied))
    return max((f for f in found if f is not None), key=lambda f: f.agreement * f.overlap, default=None)


def compare_laid(a: Look, b: Look, photos: tuple[Photo, Photo], way: Homography) -> Likeness | None:
    """The same where other boards show how one photo lies on the other; None where the outlines do not meet."""
    return _judge(a, b, photos, way, _matches(a, b))


def _matches(a: Look, b: Look) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Places (n, 2) in both photos of features that are each other's best."""
    none = np.zeros((0, 2), np.float32)
    if min(len(a.features), len(b.features)) < _FEWEST:
        return none, none
    alike = a.features @ b.features.T
    far = np.sqrt(np.maximum(2 - 2 * alike, 0))
    best = far.argmin(1)
    two = np.partition(far, 1, axis=1)[:, :2]
    back = far.argmin(0)
    rows = np.arange(len(far))
    good = (back[best] == rows) & (two[:, 0] < _RATIO * two[:, 1])
    return a.points_px[good], b.points_px[best[good]]


def _ways(a: Look, b: Look, tied: tuple[NDArray[np.float32], NDArray[np.float32]]) -> Iterator[Homography]:
    """Homographies that may lay the first look on the second."""
    source, other = tied
    miss = max(_MISS_SHARE * b.sides_px[0], 1.5)
    if len(source) >= _FEWEST:
        cv2.setRNGSeed(_SEED)
        rough, kept = cv2.estimateAffinePartial2D(
            source, other, method=cv2.RANSAC, ransacReprojThreshold=3 * miss, maxIters=1000, confidence=0.999
        )
        if rough is not None:
            yield np.vstack([rough, [0, 0, 1]])
            near = kept.ravel() > 0
            if near.sum() >= 8:
                full, _ = cv2.findHomography(source[near], other[near], cv2.USAC_MAGSAC, miss)
                if full is not None and _is_sane(full, a):
                    yield full
    if a.is_cut or b.is_cut or a.is_hidden or b.is_hidden:
        return
    slender = [long / short for long, short in (a.sides_px, b.sides_px)]
    if max(slender) / min(slender) > _ALIKE:
        return
    turns = (0, 1, 2, 3) if max(slender) < _SQUARE else (0, 2)
    for turn in turns:
        corners = np.roll(b.corners_px, turn, axis=0).astype(np.float32)
        yield cv2.getPerspectiveTransform(a.corners_px.astype(np.float32), corners)


def _is_sane(way: Homography, a: Look) -> bool:
    """Whether it keeps the outline's sense of rotation and does not fold it."""
    weights = a.outline_px @ way[2, :2] + way[2, 2]
    return bool((weights > 0.3 * weights.max()).all() and np.linalg.det(way[:2, :2]) > 0)


def _judge(
    a: Look,
    b: Look,
    photos: tuple[Photo, Photo],
    way: Homography,
    tied: tuple[NDArray[np.float32], NDArray[np.float32]],
) -> Likeness | None:
    if not _is_sane(way, a):
        return None
    moved = cv2.perspectiveTransform(a.outline_px[None], way)[0]
    overlap, seen = _overlap(b, moved, way, photos)
    if overlap < 0.3:
        return None
    agreement, refined = _agreement(a, b, photos, way)
    source, other = tied
    matched = 0
    if len(source):
        miss = max(_MISS_SHARE * b.sides_px[0], 1.5)
        at = cv2.perspectiveTransform(source[None].astype(np.float64), refined)[0]
        matched = int((np.hypot(*(at - other).T) < 2 * miss).sum())
    fewer = max(min(len(a.features), len(b.features)), 1)
    return Likeness(agreement, matched, matched / fewer, overlap, seen, colour_distance(a, b), refined)


def _overlap(b: Look, moved: FloatArray, way: Homography, photos: tuple[Photo, Photo]) -> tuple[float, float]:
    """Area shared ÷ area covered within both frames, and share of the smaller board that lies in both frames."""
    height, width = photos[1].rgb.shape[:2]
    ha, wa = photos[0].rgb.shape[:2]
    k = 200 / max(b.sides_px[0], 1.0)
    low = np.minimum(moved.min(0), b.outline_px.min(0)) - 2
    size = np.ceil((np.maximum(moved.max(0), b.outline_px.max(0)) + 2 - low) * k).astype(int)
    if (size > 1200).any() or (size < 2).any():
        return 0.0, 0.0

    def drawn(ring: FloatArray) -> NDArray[np.uint8]:
        mask = np.zeros((size[1], size[0]), np.uint8)
        cv2.fillPoly(mask, [np.round((ring - low) * k).astype(np.int32)], 1)
        return mask

    frame_b = drawn(np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float64))
    corners_a = np.array([[[0, 0], [wa, 0], [wa, ha], [0, ha]]], np.float64)
    weights = corners_a[0] @ way[2, :2] + way[2, 2]
    if (weights > 0.05 * abs(weights).max()).all():
        both = frame_b & drawn(cv2.perspectiveTransform(corners_a, way)[0])
    else:
        both = frame_b
    one, two = drawn(moved), drawn(b.outline_px)
    shared, either = int((one & two & both).sum()), int(((one | two) & both).sum())
    return shared / max(either, 1), shared / max(min(int(one.sum()), int(two.sum())), 1)


def _agreement(a: Look, b: Look, photos: tuple[Photo, Photo], way: Homography) -> tuple[float, Homography]:
    """Correlation of the first look, laid on the second's straightened picture, and the refined homography."""
    target, inside = _plain(b.patch), b.inside
    size = (b.patch.shape[1], b.patch.shape[0])
    to_patch = b.to_patch @ way
    shrink = a.sides_px[0] / max(b.sides_px[0], 1.0) * b.sides_px[0] / size[0]
    ring = a.outline_px.astype(np.float32)
    patch, own = laid_straight(photos[0].rgb, ring, to_patch, size, shrink)
    laid = _plain(patch)
    both = cv2.erode(own & inside, np.ones((3, 3), np.uint8))
    if both.sum() < 255 * 150:
        return 0.0, way
    first = _correlation(laid, target, both)
    if first < _REFINE_FROM:
        return first, way
    blurred = cv2.GaussianBlur(laid, (0, 0), 1.0)
    goal = cv2.GaussianBlur(target, (0, 0), 1.0)
    warp = np.eye(3, dtype=np.float32)
    try:
        _, warp = cv2.findTransformECC(
            goal, blurred, warp, cv2.MOTION_HOMOGRAPHY,
            (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 15, 1e-4), both, 3,
        )  # fmt: skip
    except cv2.error:
        return first, way
    again = np.linalg.inv(warp.astype(np.float64))
    patch, own = laid_straight(photos[0].rgb, ring, again @ to_patch, size, shrink)
    both = cv2.erode(own & inside, np.ones((3, 3), np.uint8))
    if both.sum() < 255 * 150:
        return first, way
    second = _correlation(_plain(patch), target, both)
    if second <= first:
        return first, way
    refined = np.linalg.inv(b.to_patch) @ again @ to_patch
    return second, refined / refined[2, 2]


def _plain(patch: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Grey picture without gradual changes of light."""
    grey = cv2.cvtColor(patch, cv2.COLOR_RGB2GRAY).astype(np.float32)
    grey = np.sqrt(grey)
    slow = cv2.GaussianBlur(grey, (0, 0), 12)
    fine = grey - slow
    spread = np.sqrt(cv2.GaussianBlur(fine * fine, (0, 0), 16)) + 0.15
    return np.asarray(fine / spread, np.float32)


def _correlation(one: NDArray[np.float32], two: NDArray[np.float32], where: NDArray[np.uint8]) -> float:
    chosen = where > 0
    x, y = one[chosen], two[chosen]
    x, y = x - x.mean(), y - y.mean()
    total = float(np.sqrt((x * x).sum() * (y * y).sum()))
    return float((x * y).sum()) / total if total > 0 else 0.0


def colour_distance(a: Look, b: Look) -> float:
    """Distance of the middle colours of two looks in the plane of a* and b* of CIELAB."""
    means = []
    for look in (a, b):
        lab = cv2.cvtColor(look.patch.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
        means.append(np.median(lab[look.inside > 0], axis=0))
    return float(np.hypot(*(means[0] - means[1])[1:]))
