"""Where the boards are: what differs from the table.

The table is what the frame's border shows, as a few colours; a pixel unlike all of them belongs to something that
lies on the table. It is a first, coarse answer, used for outlines and for "at the board's edge", never for area.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SIDE_PX = 640
_BORDER_SHARE = 0.03
_TABLE_COLOURS = 4
_SEED = 7
_LEAST_SHARE = 0.004  # of the frame: smaller things are not boards
_FURTHEST = 16.0  # ΔE*ab from the nearest table colour: beyond it is certainly something else


def board_mask(rgb: NDArray[np.uint8], hidden: NDArray[np.uint8] | None = None) -> NDArray[np.bool_]:
    """Pixels that belong to things lying on the table.

    Args:
        rgb: uint8 (height, width, 3).
        hidden: uint8 (height, width), non-zero where the scale target lies; never a board.

    Returns:
        bool (height, width).
    """
    height, width = rgb.shape[:2]
    k = min(1.0, _SIDE_PX / max(height, width))
    size = (max(1, round(width * k)), max(1, round(height * k)))
    small = cv2.GaussianBlur(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), (5, 5), 0)
    lab = cv2.cvtColor(small.astype(np.float32) / 255, cv2.COLOR_RGB2LAB)
    covered = (
        cv2.resize(hidden, size, interpolation=cv2.INTER_NEAREST) > 0
        if hidden is not None
        else np.zeros(size[::-1], bool)
    )
    distance, scatter = _from_table(lab, covered)
    other = (distance > np.clip(3.5 * scatter, 6.0, _FURTHEST)) & ~covered
    closed = cv2.morphologyEx(other.astype(np.uint8), cv2.MORPH_CLOSE, _ellipse(7))
    opened = cv2.morphologyEx(_filled(closed), cv2.MORPH_OPEN, _ellipse(5))
    opened[covered] = 0
    _, labels, stats, _ = cv2.connectedComponentsWithStats(opened)
    large = stats[:, cv2.CC_STAT_AREA] >= _LEAST_SHARE * opened.size
    large[0] = False
    kept = large[labels].astype(np.uint8)
    return np.asarray(cv2.resize(kept, (width, height), interpolation=cv2.INTER_NEAREST) > 0)


def _from_table(lab: NDArray[np.float32], covered: NDArray[np.bool_]) -> tuple[NDArray[np.float32], float]:
    """ΔE*ab (CIE 1976) of each pixel from the nearest of the table's colours, and the table's own scatter."""
    height, width = lab.shape[:2]
    rim = max(2, round(_BORDER_SHARE * max(height, width)))
    border = np.ones((height, width), bool)
    border[rim:-rim, rim:-rim] = False
    samples = lab[border & ~covered]
    if len(samples) < _TABLE_COLOURS * 10:
        return np.full((height, width), 1e3, np.float32), 0.0
    criteria = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 30, 0.3)
    cv2.setRNGSeed(_SEED)
    _, nearest, centres = cv2.kmeans(samples, _TABLE_COLOURS, None, criteria, 2, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload,unused-ignore]
    share = np.bincount(nearest.ravel(), minlength=len(centres)) / len(samples)
    centres = centres[share > 0.05]
    spread = np.linalg.norm(samples[:, None] - centres[None], axis=-1).min(axis=1)
    distance = np.full((height, width), np.inf, np.float32)
    for centre in centres:
        distance = np.minimum(distance, np.linalg.norm(lab - centre, axis=-1))
    return distance, float(np.median(spread))


def _filled(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    out = np.zeros_like(mask)
    cv2.drawContours(out, contours, -1, 1, cv2.FILLED)
    return out


def _ellipse(side: int) -> NDArray[np.uint8]:
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
