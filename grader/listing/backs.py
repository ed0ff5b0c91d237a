"""Whether two looks may show the two faces of one board: its outline, its edge contacts and its colour, mirrored.

Outlines differ in the ratio of their sides and in their notches. Contacts at an edge mostly lie on both faces, at the
same places. Both faces have lacquer of the same colour. Sizes help where both photos have a scale.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.listing.compare import colour_distance
from grader.listing.looks import Look

_ALIKE = 1.2  # ratio of two slendernesses beyond which boards differ: perspective changes it by a few per cent
_SQUARE = 1.25
_SOFT_PX = 2.5


@dataclass(frozen=True)
class Mirrored:
    """Fit of one look to another, mirrored.

    Attributes:
        outline: area that both straight outlines share ÷ area that either covers.
        slenderness: absolute natural logarithm of the first's ratio of sides ÷ the second's.
        plating: correlation of their plating, -1..1; 0 where either shows none.
        plated: whether both show plating.
        colour: distance of the middle colours in units of CIELAB.
        size_log: natural logarithm of the first's length ÷ the second's, px.
    """

    outline: float
    slenderness: float
    plating: float
    plated: bool
    colour: float
    size_log: float


def mirrored(a: Look, b: Look) -> Mirrored | None:
    """Fit of the first look, turned over, to the second; None where one is cut off or their shapes differ."""
    if a.is_cut or b.is_cut or a.is_hidden or b.is_hidden:
        return None
    slender = [long / short for long, short in (a.sides_px, b.sides_px)]
    apart = abs(float(np.log(slender[0] / slender[1])))
    if apart > np.log(_ALIKE):
        return None
    size = (b.patch.shape[1], b.patch.shape[0])
    best: tuple[float, float, float] | None = None
    for inside, plating in _turned(a, is_square=max(slender) < _SQUARE):
        outline = _shared(cv2.resize(inside, size, interpolation=cv2.INTER_NEAREST), b.inside)
        plated = _correlation(cv2.resize(plating, size, interpolation=cv2.INTER_AREA), b.plating, b.inside)
        score = outline + 0.5 * plated
        if best is None or score > best[0]:
            best = (score, outline, plated)
    assert best is not None  # noqa: S101 - there are at least two ways to turn it
    both = min(float(look.plating.mean()) for look in (a, b)) > 0.5
    return Mirrored(
        best[1], apart, best[2], both, colour_distance(a, b), float(np.log(a.sides_px[0] / b.sides_px[0]))
    )


def _turned(a: Look, *, is_square: bool) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    flipped = [cv2.flip(picture, 1) for picture in (a.inside, a.plating)]
    ways = [0, 2] if not is_square else [0, 1, 2, 3]
    return [(np.rot90(flipped[0], way).copy(), np.rot90(flipped[1], way).copy()) for way in ways]


def _shared(one: NDArray[np.uint8], two: NDArray[np.uint8]) -> float:
    return float(((one > 0) & (two > 0)).sum() / max(((one > 0) | (two > 0)).sum(), 1))


def _correlation(one: NDArray[np.uint8], two: NDArray[np.uint8], where: NDArray[np.uint8]) -> float:
    x, y = (cv2.GaussianBlur(p.astype(np.float32), (0, 0), _SOFT_PX)[where > 0] for p in (one, two))
    x, y = x - x.mean(), y - y.mean()
    total = float(np.sqrt((x * x).sum() * (y * y).sum()))
    return float((x * y).sum()) / total if total > 1e-3 else 0.0
