"""Plating lies on boards: a region that the network is not sure of, with hardly any board around it, is not plating.

Under a false region the network sees a board as surely as under a true one; around a false region it does not (wood,
brass, paper). On 41 photographs without gold that no run saw, the limits below reduced the false share from 0.051 to
0.041 % of the frame (worst 0.76 to 0.68 %). Of the true plating of 23 photographs and 31 renders that no run saw they
leave out 0.2 and 0.1 %, and no more than 3.2 % in any one picture. They were chosen on these pictures.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.coverage.plated import around_plating

_ANY = 20  # share, 255 = 1, from which a pixel belongs to a region
_LEAST_PX = 30  # smaller regions are specks, and their area hardly counts
_UNSURE = 0.4  # Σ p (1 − p) ÷ Σ p of a region from which it needs a board around it
_BOARD = 242  # chance, 255 = 1, from which the network is sure that it sees a board
_AROUND = 0.25  # share of the ring around a region that must be board
_RING = 0.125  # width of the ring ÷ the region's longer side
_LEAST_RING_PX = 6


def without_stray(share: NDArray[np.uint8], board: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The shares without doubtful regions that no board surrounds.

    Args:
        share: uint8 (h, w), 255 = wholly plated.
        board: uint8, chance of a board, 255 = sure; a map of the same picture at any size.
    """
    around = around_plating(share)
    inside = share[around]
    if not inside.size:
        return share
    count, labels, stats, _ = cv2.connectedComponentsWithStats((inside > _ANY).astype(np.uint8))
    whole = np.bincount(labels.ravel(), inside.ravel() / 255.0, count)
    squares = np.bincount(labels.ravel(), (inside.ravel() / 255.0) ** 2, count)
    unsure = (whole - squares > _UNSURE * whole) & (stats[:, cv2.CC_STAT_AREA] >= _LEAST_PX)
    corner = (around[1].start, around[0].start)
    scale = (board.shape[1] / share.shape[1], board.shape[0] / share.shape[0])
    stray = [
        piece
        for piece in np.flatnonzero(unsure[1:]) + 1
        if _board_around(labels, int(piece), stats[piece], corner, share, board, scale) < _AROUND
    ]
    if not stray:
        return share
    kept = share.copy()
    kept[around][np.isin(labels, stray)] = 0
    return kept


def _board_around(
    labels: NDArray[np.int32],
    piece: int,
    stats: NDArray[np.int32],
    corner: tuple[int, int],
    share: NDArray[np.uint8],
    board: NDArray[np.uint8],
    scale: tuple[float, float],
) -> float:
    """Share of the ring around a region that is surely board; 1 where there is no ring."""
    x, y, width, height = (int(v) for v in stats[:4])
    reach = max(_LEAST_RING_PX, round(_RING * max(width, height)))
    left, top = max(x + corner[0] - reach, 0), max(y + corner[1] - reach, 0)
    right, bottom = x + corner[0] + width + reach, y + corner[1] + height + reach
    near = share[top:bottom, left:right]
    own = np.zeros(near.shape, np.uint8)
    y0, x0 = y + corner[1] - top, x + corner[0] - left
    own[y0 : y0 + height, x0 : x0 + width] = labels[y : y + height, x : x + width] == piece
    grown = cv2.dilate(own, cv2.getStructuringElement(cv2.MORPH_RECT, (2 * reach + 1,) * 2))
    ys, xs = np.nonzero((grown > 0) & (near <= _ANY))
    if not len(ys):
        return 1.0
    at_x = np.minimum(((xs + left + 0.5) * scale[0]).astype(int), board.shape[1] - 1)
    at_y = np.minimum(((ys + top + 0.5) * scale[1]).astype(int), board.shape[0] - 1)
    return float((board[at_y, at_x] > _BOARD).mean())
