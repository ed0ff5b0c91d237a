"""Plating that no cut can part, as boxes, and the lines that run along them."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from grader.cut.grid import BoardGrid
from grader.cut.rules import CutRules

_ROUNDING = 1e-9


def islands(cells: BoolArray, step_mm: float, reach_mm: float) -> FloatArray:
    """Boxes (k, 4) of (u0, u1, v0, v1) in mm about the cells that no straight cut through a whole piece can part.

    Two boxes less than twice the reach apart on both axes leave no room for a cut between them on either, so that
    every piece holds both or neither. A cut that keeps clear of the boxes keeps clear of the cells.

    Args:
        cells: bool (n, m), what cuts must keep clear of.
        step_mm: side of a cell.
        reach_mm: from the middle of a cut to the nearest such cell, at least.
    """
    near = math.ceil(reach_mm / step_mm - _ROUNDING) - 1  # cells: closer than twice this is too close in any case
    grown = np.pad(cells.astype(np.uint8), max(near, 0))
    if near > 0:
        grown = cv2.dilate(grown, np.ones((2 * near + 1, 2 * near + 1), np.uint8))
    _, labels = cv2.connectedComponents(grown, connectivity=8 if near >= 0 else 4)
    pad = max(near, 0)
    labels = labels[pad : labels.shape[0] - pad, pad : labels.shape[1] - pad]
    us, vs = np.nonzero(cells)
    if not len(us):
        return np.zeros((0, 4))
    return joined(
        _boxes(labels[us, vs], np.asarray(np.column_stack([us, us + 1, vs, vs + 1]) * step_mm, np.float64)),
        2 * reach_mm,
    )


def joined(boxes: FloatArray, gap_mm: float) -> FloatArray:
    """The boxes, those that are less than a gap apart on both axes as one, until none are."""
    while True:
        u0, u1, v0, v1 = boxes.T
        apart_u = np.maximum(u0[:, None] - u1, u0 - u1[:, None])
        apart_v = np.maximum(v0[:, None] - v1, v0 - v1[:, None])
        near = np.maximum(apart_u, apart_v) < gap_mm - _ROUNDING
        labels = _labels(near)
        if labels.max(initial=-1) + 1 == len(boxes):
            return boxes
        boxes = _boxes(labels, boxes)


def _labels(near: BoolArray) -> NDArray[np.int64]:
    """For each box the number of the group that it is in, from 0; a box is near itself."""
    label = np.arange(len(near))
    while True:
        least = np.where(near, label, len(near)).min(axis=1, initial=len(near))
        if (least == label).all():
            return np.unique(label, return_inverse=True)[1]
        label = least


def _boxes(labels: NDArray[np.int64], boxes: FloatArray) -> FloatArray:
    """The box about all boxes with the same label."""
    order = np.argsort(labels, kind="stable")
    first = np.flatnonzero(np.r_[True, np.diff(labels[order]) > 0])
    low, high = np.minimum.reduceat(boxes[order], first), np.maximum.reduceat(boxes[order], first)
    return np.column_stack([low[:, 0], high[:, 1], low[:, 2], high[:, 3]])


def board_islands(grid: BoardGrid, rules: CutRules) -> FloatArray:
    """The boxes that the cuts of these rules must keep clear of."""
    if rules.through == "contacts":
        return np.zeros((0, 4))
    cells = grid.contact if rules.through == "plating" else grid.plating
    return islands(cells, grid.step_mm, rules.reach_mm)
