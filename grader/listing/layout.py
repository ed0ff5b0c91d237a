"""Boards that nobody moved between two photos: how one whole photo maps onto the other.

Such boards are mapped by a single homography, because they lie on one table. It tells twins apart, and finds boards
that the frame cuts off, or that show too little to be recognised by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.arrays import FloatArray
from grader.listing.compare import Likeness
from grader.listing.looks import Homography, Look

_SURE, _OVERLAP = 0.5, 0.6  # agreement and overlap of a pair that others may be laid by
_MISS_SHARE = 0.3  # of a board's shorter side: how far its middle may lie from where the photo's map has it
_FEWEST = 2
_BY_ITSELF = 0.65  # agreement from which a single pair suggests where to look for the boards round it


@dataclass(frozen=True, eq=False)
class PhotoMap:
    """Map of one photo onto another.

    Attributes:
        way: (3, 3), px of the first to px of the second.
        kept: pairs of looks that agree with it.
    """

    way: Homography
    kept: frozenset[tuple[int, int]]


def layout_between(looks: Sequence[Look], pairs: dict[tuple[int, int], Likeness]) -> PhotoMap | None:
    """The map that most pairs of two photos agree with; None where no two pairs agree.

    Args:
        looks: all looks.
        pairs: likeness of looks (first photo's, second photo's), of these two photos only.
    """
    sure = {p: it for p, it in pairs.items() if it.agreement >= _SURE and it.overlap >= _OVERLAP}
    best: tuple[float, tuple[int, int], set[tuple[int, int]]] | None = None
    for pair, likeness in sorted(sure.items()):
        kept = _agreeing(looks, sure, likeness.to_other, reach=2.0)
        weight = sum(sure[p].agreement for p in kept)
        if best is None or weight > best[0]:
            best = (weight, pair, kept)
    if best is None or len(best[2]) < _FEWEST:
        return None
    kept = best[2]
    way = sure[best[1]].to_other
    for _ in range(2):
        fitted = _fitted(looks, sure, kept)
        if fitted is None:
            break
        way = fitted
        again = _agreeing(looks, sure, way, reach=1.0)
        if len(again) < _FEWEST:
            return None
        kept = again
    return PhotoMap(way, frozenset(kept))


def guessed_layout(looks: Sequence[Look], pairs: dict[tuple[int, int], Likeness]) -> PhotoMap | None:
    """Map of the surest pair alone: where boards round it may lie in the other photo; None without such a pair."""
    sure = {p: it for p, it in pairs.items() if it.agreement >= _BY_ITSELF and it.overlap >= _OVERLAP}
    if not sure:
        return None
    # the larger the board, the farther its map holds
    pair = max(sorted(sure), key=lambda p: sure[p].agreement * min(looks[n].px_across for n in p))
    return PhotoMap(sure[pair].to_other, frozenset({pair}))


def fits(looks: Sequence[Look], pair: tuple[int, int], way: Homography, reach: float = 1.0) -> bool:
    """Whether the map lays the middle of one look near the middle of the other."""
    a, b = looks[pair[0]], looks[pair[1]]
    weight = a.outline_px @ way[2, :2] + way[2, 2]
    if (weight <= 0).any():
        return False
    at = cv2.perspectiveTransform(a.corners_px.mean(0)[None, None], way)[0, 0]
    return bool(np.hypot(*(at - b.corners_px.mean(0))) < reach * _MISS_SHARE * b.sides_px[1])


def _agreeing(
    looks: Sequence[Look], sure: dict[tuple[int, int], Likeness], way: Homography, reach: float
) -> set[tuple[int, int]]:
    """Pairs whose own map and this one put the middle of the first look at the same place."""
    kept = set()
    for (i, j), likeness in sure.items():
        middle = looks[i].corners_px.mean(0)[None, None]
        if float(middle[0, 0] @ way[2, :2] + way[2, 2]) <= 0:
            continue
        here = cv2.perspectiveTransform(middle, way)[0, 0]
        own = cv2.perspectiveTransform(middle, likeness.to_other)[0, 0]
        if np.hypot(*(here - own)) < reach * _MISS_SHARE * looks[j].sides_px[1]:
            kept.add((i, j))
    return kept


def _fitted(
    looks: Sequence[Look], sure: dict[tuple[int, int], Likeness], kept: set[tuple[int, int]]
) -> Homography | None:
    source: list[FloatArray] = []
    other: list[FloatArray] = []
    for i, j in sorted(kept):
        corners = looks[i].corners_px
        source.append(corners)
        other.append(cv2.perspectiveTransform(corners[None], sure[i, j].to_other)[0])
    way, _ = cv2.findHomography(np.concatenate(source), np.concatenate(other), 0)
    return None if way is None else np.asarray(way, np.float64)
