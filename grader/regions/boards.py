"""Outlines of boards from the mask of things on the table."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import Scale
from grader.regions.laid_plane import laid_plane
from grader.regions.model import Board
from grader.regions.part import VisiblePart, boards_in_piece
from grader.regions.straight import straightened

_LEAST_MM2 = 100.0
_LEAST_SHARE = 0.004  # of the frame, without scale
_SMOOTH_MM = 0.6  # an outline is drawn to about this
_SMOOTH = 0.004  # of its length, without scale
_NARROWEST_MM = 6.0  # narrower things (printed lines of text, wires, shadows) are not boards
_LEAST_SOLID = 0.8  # share of its convex hull that a thing without any plating must fill to count as a board
_MOUTH_MM = 3.0  # a wider area that an outline encloses, except for a mouth this narrow, is not table
_FINE_MM = 0.15  # an outline with straight sides is drawn to this
_MOST_MOVED_MM = 1.5  # all round, by making sides straight
_FRAME_SHARE = 0.9  # a "board" that fills the frame is not an outline but a close-up
_DISTANCE_PX = 1.5e6  # of a mask in which distances are measured; a larger one is thinned out


def find_boards(
    mask: NDArray[np.bool_],
    scale: Scale | None,
    plated: NDArray[np.bool_] | None = None,
    rgb: NDArray[np.uint8] | None = None,
) -> tuple[Board, ...]:
    """Outlines in reading order; with a scale, touching or overlapping boards are separated and long sides straight.

    Args:
        mask: bool (height, width).
        scale: for areas in mm²; None gives px².
        plated: bool (height, width), where there is plating; a thing with plating is a board whatever its shape.
        rgb: the photo, uint8 (height, width, 3), in which the sides of boards are looked for.
    """
    on_board = np.ascontiguousarray(mask).view(np.uint8)
    if scale is not None:
        on_board = _tidied(on_board, scale.px_per_mm)
    contours, _ = cv2.findContours(on_board, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    boards: list[Board] = []
    plane = scale.plane if scale is not None else None
    if plane is not None and rgb is not None:
        plane = laid_plane(plane, rgb)
    for contour in contours:
        whole = _board(contour, scale)
        if len(contour) < 4 or whole.area < (_LEAST_MM2 if scale else _LEAST_SHARE * mask.size):
            continue
        parts: list[VisiblePart] = []
        if scale is not None and plane is not None:
            told, evidence = boards_in_piece(contour, plane, rgb, plated)
            parts, whole = [p for p in told if _is_board(p, scale, plated)], replace(whole, evidence=evidence)
        if not _may_be_board(contour, scale, plated, any_shape=bool(parts)):
            continue
        found = [_visible(p, scale) for p in parts] or [whole]
        if scale is not None and rgb is not None:
            fine = [p.outlines_px[0] for p in parts] or [contour.reshape(-1, 2).astype(np.float64)]
            found = [_straight(*pair, scale, rgb) for pair in zip(found, fine, strict=True)]
        boards += found
    return in_reading_order(boards)


def in_reading_order(boards: Sequence[Board]) -> tuple[Board, ...]:
    """Boards from left to right; where they lie in several rows, row by row from the top.

    A board is in the row of the topmost remaining board if its middle lies higher than that board's bottom.
    """
    left = sorted(boards, key=lambda b: (_span(b)[0][1], _span(b)[0][0]))
    found: list[Board] = []
    while left:
        bottom = _span(left[0])[1][1]
        row = [b for b in left if sum(_span(b)[:, 1]) / 2 <= bottom]
        found += sorted(row, key=lambda b: float(_span(b)[:, 0].sum()))
        left = [b for b in left if not any(b is other for other in row)]
    return tuple(found)


def _span(board: Board) -> FloatArray:
    """The box about a board along the photo's axes: least and greatest x and y, (2, 2)."""
    return np.array([board.outline_px.min(axis=0), board.outline_px.max(axis=0)])


def _board(contour: NDArray[np.int32], scale: Scale | None) -> Board:
    points = _simpler(contour.reshape(-1, 2).astype(np.float64), scale)
    corners = scale.plane.to_mm(points) if scale else points
    # outlines run through the middles of the outermost pixels: half a pixel all round is missing
    rim = _length(corners) / 2 / (scale.px_per_mm if scale else 1.0)
    return Board(points, polygon_area(corners) + rim)


def _is_board(part: VisiblePart, scale: Scale, plated: NDArray[np.bool_] | None) -> bool:
    outline = np.round(part.outlines_px[0]).astype(np.int32).reshape(-1, 1, 2)
    return part.hidden or _may_be_board(outline, scale, plated)


def _may_be_board(
    contour: NDArray[np.int32], scale: Scale | None, plated: NDArray[np.bool_] | None, *, any_shape: bool = False
) -> bool:
    """Whether a thing counts as a board. If bare, it must not be print of the sheet or a ragged rest of table.

    Args:
        contour: (k, 1, 2).
        scale: of the photo.
        plated: bool (height, width), where there is plating; a thing with plating is a board wherever it lies.
        any_shape: True for a thing that consists of boards, which may be ragged as a whole.
    """
    if plated is not None and _holds_any(contour, plated):
        return True
    return (any_shape or _is_solid(contour)) and not _on_target(contour, scale)


def _visible(part: VisiblePart, scale: Scale | None) -> Board:
    first, *more = (_simpler(outline, scale) for outline in part.outlines_px)
    return Board(first, part.area_mm2, part.hidden, tuple(more), part.evidence)


def _straight(board: Board, outline_px: NDArray[np.float64], scale: Scale, rgb: NDArray[np.uint8]) -> Board:
    """The board with straight sides.

    Args:
        board: as found.
        outline_px: its largest outline, not simplified.
        scale: of the photo.
        rgb: the photo.
    """
    before = scale.plane.to_mm(outline_px)
    straight = straightened(before, scale.plane, rgb)
    area = polygon_area(straight) + sum(polygon_area(scale.plane.to_mm(piece)) for piece in board.more_px)
    # sides at either side of a narrow slit may cross
    if abs(area - board.area) > _MOST_MOVED_MM * _length(scale.plane.to_mm(board.outline_px)):
        return board
    simple = cv2.approxPolyDP(straight.astype(np.float32).reshape(-1, 1, 2), _FINE_MM, closed=True).reshape(-1, 2)
    within_px = np.clip(scale.plane.to_px(simple.astype(np.float64)), 0, np.array(rgb.shape[1::-1]) - 1.0)
    return replace(board, outline_px=within_px, area=area)


def _simpler(points: NDArray[np.float64], scale: Scale | None) -> NDArray[np.float64]:
    closed = points.astype(np.float32).reshape(-1, 1, 2)
    off = _SMOOTH_MM * scale.px_per_mm if scale else _SMOOTH * cv2.arcLength(closed, closed=True)
    return np.asarray(cv2.approxPolyDP(closed, off, closed=True).reshape(-1, 2), np.float64)


def _length(corners: NDArray[np.float64]) -> float:
    return float(np.hypot(*(np.roll(corners, -1, axis=0) - corners).T).sum())


def _tidied(mask: NDArray[np.uint8], px_per_mm: float) -> NDArray[np.uint8]:
    """A mask of 0 and 1 without things too narrow for a board, and with bites filled; judged at about 2 px per mm."""
    height, width = mask.shape
    k = min(1.0, 2.0 / px_per_mm)
    size = (max(1, round(width * k)), max(1, round(height * k)))
    small = cv2.resize(mask, size, interpolation=cv2.INTER_NEAREST)
    kept = _wide(small, max(3, round(_NARROWEST_MM * px_per_mm * k)))
    bitten = _bitten(kept & small, max(3, round(_MOUTH_MM * px_per_mm * k)))
    tidied = mask & cv2.resize(kept, (width, height), interpolation=cv2.INTER_NEAREST)
    if bitten.any():
        tidied |= cv2.resize(bitten, (width, height), interpolation=cv2.INTER_NEAREST)
    return np.asarray(tidied, np.uint8)


def _wide(small: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Pieces of a mask that hold a disc of diameter ``side``, 0 or 1."""
    _, labels = cv2.connectedComponents(small)
    # boards continue beyond the frame, so a strip of a board at the border stays
    padded = cv2.copyMakeBorder(small, side, side, side, side, cv2.BORDER_REPLICATE)
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    wide = cv2.erode(padded, disc)[side:-side, side:-side] > 0
    keep = np.zeros(int(labels.max()) + 1, np.uint8)
    keep[labels[wide]] = 1
    keep[0] = 0
    # one small pixel more all round: the reduction's rounding must not take pixels from what is kept
    return np.asarray(cv2.dilate(keep[labels], np.ones((3, 3), np.uint8)), np.uint8)


def _bitten(small: NDArray[np.uint8], side: int) -> NDArray[np.uint8]:
    """Areas wider than ``side`` that a mask encloses, except for mouths narrower than ``side``: 0 or 1.

    Labels on boards do not look like board, and may be joined to the table by a thin line; notches are no wider than
    their mouths.
    """
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, disc)
    contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    filled = cv2.drawContours(np.zeros_like(small), contours, -1, 1, cv2.FILLED)
    return np.asarray(cv2.morphologyEx(filled & (1 - small), cv2.MORPH_OPEN, disc), np.uint8)


def _is_solid(contour: NDArray[np.int32]) -> bool:
    hull = cv2.contourArea(cv2.convexHull(contour))
    return bool(hull > 0 and cv2.contourArea(contour) >= _LEAST_SOLID * hull)


def _on_target(contour: NDArray[np.int32], scale: Scale | None) -> bool:
    """Whether the middle of a thing lies on the scale target's sheet: the thing is most likely print."""
    middle = contour.reshape(-1, 2).mean(axis=0)
    return any(
        cv2.pointPolygonTest(
            outline.astype(np.float32).reshape(-1, 1, 2), (float(middle[0]), float(middle[1])), measureDist=False
        )
        >= 0
        for outline in (scale.target_px if scale is not None else ())
    )


def _holds_any(contour: NDArray[np.int32], plated: NDArray[np.bool_]) -> bool:
    contour = np.clip(contour, 0, np.array(plated.shape[::-1]) - 1).astype(
        np.int32
    )  # parts may reach out of the frame
    x, y, w, h = cv2.boundingRect(contour)
    inside = np.zeros((h, w), np.uint8)
    cv2.drawContours(inside, [contour - np.array([[[x, y]]], np.int32)], -1, 1, cv2.FILLED)
    return bool(np.any(plated[y : y + h, x : x + w] & (inside > 0)))


def polygon_area(points: NDArray[np.float64]) -> float:
    """Area of a simple polygon (k, 2), by the shoelace formula."""
    x, y = points.T
    return float(abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2)


def edge_distance(mask: NDArray[np.bool_], places_px: NDArray[np.float64]) -> NDArray[np.float32] | None:
    """Distance in px of places (n, 2) from the nearest place without a board (n,); None if boards fill the frame.

    Boards are taken to continue beyond the frame's border.
    """
    share = np.count_nonzero(mask) / mask.size
    if share == 0 or share > _FRAME_SHARE:
        return None
    # the nearest place without a board lies no farther than just outside the boards' bounding rectangle
    on_board = np.ascontiguousarray(mask).view(np.uint8)
    left, top, width, height = cv2.boundingRect(on_board)
    # outlines are no finer than this: the segmenter sees boards in a coarser picture than the photo
    step = max(1, round(math.sqrt(width * height / _DISTANCE_PX)))
    # one step more on each side, so that some pixels without a board are left after thinning out
    x0, y0 = max(left - step, 0), max(top - step, 0)
    part = np.ascontiguousarray(on_board[y0 : top + height + step : step, x0 : left + width + step : step])
    distance = np.asarray(cv2.distanceTransform(part, cv2.DIST_L2, 5), np.float32) * step
    x, y = (np.round((places_px - [x0, y0]) / step).astype(np.intp)).T
    within = (x >= 0) & (y >= 0) & (x < part.shape[1]) & (y < part.shape[0])
    found = np.zeros(len(places_px), np.float32)
    found[within] = distance[y[within], x[within]]
    return found


def board_under(centre_px: NDArray[np.float64], boards: tuple[Board, ...]) -> int | None:
    """Index of the smallest board that holds a point, or None."""
    return boards_under(centre_px[None], boards)[0]


def boards_under(centres_px: NDArray[np.float64], boards: tuple[Board, ...]) -> list[int | None]:
    """The same for many points (n, 2)."""
    found: list[int | None] = [None] * len(centres_px)
    from_the_largest = sorted(enumerate(boards), key=lambda each: -each[1].area)
    for number, board in from_the_largest:
        for outline in (board.outline_px, *board.more_px):
            closed = outline.astype(np.float32)
            near = ((centres_px >= closed.min(axis=0)) & (centres_px <= closed.max(axis=0))).all(axis=1)
            for i in np.flatnonzero(near).tolist():
                if cv2.pointPolygonTest(closed[:, None], centres_px[i].tolist(), measureDist=False) >= 0:
                    found[i] = number
    return found
