"""Rows of contacts whose width, ends and missing contacts are taken from the photo, where it shows them clearly.

The network finds rows, but on bare tan, brown or pale laminate narrow gaps fill up, laminate beside contacts is taken
for gold, and dull contacts are seen in shreds. All contacts of a row are alike, so the photo averaged over all of
them (``row_fold``) shows how wide and how long they are (``row_shape``). No scale is needed.

A row is drawn so only where this explains the photo: better than the network's own shares do, or nearly as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.plane import UniformPlane
from grader.coverage.contact_strip import LEAST_PITCH_PX, PITCHES_MM, comb_of, laid_flat, rectangle
from grader.coverage.error import doubt_of
from grader.coverage.plated import around_plating
from grader.coverage.row_fold import Fold, RowPlaces, folded, straightened
from grader.coverage.row_shape import RowShape, drawn_share, levels, shape_of

_SEEN, _IS_CONTACT = 40, 110  # of 255: plated share and chance of an edge contact above which a pixel is in a strip
_GAPS_PX = (7, 21)  # closed to make strips: first narrow gaps; what forms no row is tried with wider ones
_LEAST_PX, _LONGEST_PX, _NARROWEST_PX = 200, 16, 5.0  # of strips: area, longer side of the box, contacts' length
_SURE = 0.1  # doubt below which a strip is a contact by itself, or a row that can wait for wider gaps
_LEAST_ASPECT = 0.8  # length along the row ÷ along the contacts
_CLEAR_ASPECT = 1.6  # above it, the row runs along the longer side; below, either way is tried
_UNITS = 4.0  # a strip's height, in what stands for the millimetre
_LEAST_EVEN = 0.55  # see ``contact_strip``; lower, because what the row explains decides in the end
_FEWEST = 5  # contacts
_EXPLAINED, _LESS = 0.5, 0.1  # part of the photo's changes that a row must explain; how much less than the shares do
_CLEARLY, _MORE = 0.35, 0.1  # or this part, and so much more than the shares do
_PLATED = 0.5  # share on contacts: what the network rather takes for tin or copper stays as it is
_SIDE = 2.0  # standard errors by which the network must see more on contacts than in gaps
_AROUND = 0.25  # of the height, beyond the contacts' ends, within which a strip's own pixels are decided anew
_REACH_PX = 2  # beyond a strip's own pixels
_LONGEST_SIDE_PX = 32_000  # OpenCV looks up places in no larger picture


@dataclass(frozen=True, eq=False)
class _Row:
    """A row that was recognised."""

    places: RowPlaces
    fold: Fold
    shape: RowShape

    def is_clear(self, only_clearly: bool) -> bool:
        """Whether the row explains the photo well enough to be drawn, or only if it clearly does."""
        shape = self.shape
        clear = shape.explained > max(_CLEARLY, shape.explained_before + _MORE)
        if not only_clearly:
            clear |= shape.explained > max(_EXPLAINED, shape.explained_before - _LESS)
        return clear and shape.side > _SIDE and shape.plated > _PLATED


def draw_folded_rows(
    photo: NDArray[np.uint8],
    rgb: NDArray[np.uint8],
    share: NDArray[np.uint8],
    contact: NDArray[np.uint8],
    *,
    only_clearly: bool = False,
) -> NDArray[np.uint8]:
    """Shares in which rows that the photo shows clearly have contacts of the width and the ends that it shows.

    Args:
        photo: uint8 (any height and width, 3), which shows edges as sharply as they were taken.
        rgb: uint8 (height, width, 3), the same at the size of the shares.
        share: uint8 (height, width), plated share, 255 = 1.
        contact: uint8 (height, width), chance of an edge contact, 255 = 1.
        only_clearly: leave rows that explain the photo no better than the shares do. With a scale the network knows
            how large contacts are, and is seldom worse.
    """
    out = share.copy()
    if max(photo.shape[:2]) > _LONGEST_SIDE_PX:
        photo = rgb
    seen = ((share > _SEEN) & (contact > _IS_CONTACT)).astype(np.uint8)
    tried: set[tuple[int, ...]] = set()
    for gap in _GAPS_PX:
        rows, columns = around_plating(seen, gap)  # the rest of the picture holds no row
        left = seen[rows, columns]
        if not left.size:
            break
        closed = cv2.morphologyEx(left, cv2.MORPH_CLOSE, np.ones((gap, gap), np.uint8))
        _, labels, boxes, _ = cv2.connectedComponentsWithStats(closed)
        for number in range(1, len(boxes)):
            x, y, width, height, area = boxes[number].tolist()
            corner = (x + columns.start, y + rows.start)
            strip = (*corner, width, height, area)
            if area < _LEAST_PX or max(width, height) < _LONGEST_PX or strip in tried:
                continue
            tried.add(strip)
            own = (labels[y : y + height, x : x + width] == number).astype(np.uint8)
            inside = (slice(corner[1], corner[1] + height), slice(corner[0], corner[0] + width))
            if gap < _GAPS_PX[-1] and doubt_of(share[inside][own > 0]) < _SURE:
                continue
            row = _row(photo, rgb, share, corner, own)
            if row is not None:
                left[y : y + height, x : x + width][own > 0] = 0
                if row.is_clear(only_clearly):
                    _draw(out, row, corner, own, photo.shape[1] / rgb.shape[1])
    return out


def _row(
    photo: NDArray[np.uint8],
    rgb: NDArray[np.uint8],
    share: NDArray[np.uint8],
    corner: tuple[int, int],
    own: NDArray[np.uint8],
) -> _Row | None:
    """The row that a strip's pixels (uint8 mask, left and top in the picture) form; None if they form none."""
    outline = np.concatenate([c[:, 0] for c in cv2.findContours(own, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]])
    middle, along, length, width = rectangle((outline + corner).astype(np.float64))
    size = (length + 1, width + 1)  # pixels have a width too
    ways = [(along, size)]
    if size[0] < _CLEAR_ASPECT * size[1]:
        ways.append((np.array([-along[1], along[0]]), size[::-1]))
    found = [
        row
        for way, (run, across) in ways
        if run > _LEAST_ASPECT * across
        and across > _NARROWEST_PX
        and (row := _row_along(photo, rgb, share, middle, way, (run, across))) is not None
    ]
    return max(found, key=lambda row: row.shape.explained, default=None)


def _row_along(
    photo: NDArray[np.uint8],
    rgb: NDArray[np.uint8],
    share: NDArray[np.uint8],
    middle: NDArray[np.float64],
    along: NDArray[np.float64],
    size: tuple[float, float],
) -> _Row | None:
    """The row in a rectangle, which has its middle, direction and size in pixels; None if there is none."""
    unit = size[1] / _UNITS
    plane = UniformPlane(unit)
    strip = laid_flat(rgb, share, plane, plane.to_mm(middle[None])[0], along, (size[0] / unit, size[1] / unit))
    comb = comb_of(strip, max(PITCHES_MM[0], LEAST_PITCH_PX / unit), _LEAST_EVEN)
    if comb is None:
        return None
    places = RowPlaces.of(strip, comb, plane)
    if len(places.numbers) < _FEWEST:
        return None
    found = levels(folded(places, photo, share))
    if found is None:
        return None
    places = straightened(places, found.signal, found.usual)
    fold = folded(places, photo, share)
    found = levels(fold)
    shape = shape_of(fold, found) if found is not None else None
    return _Row(places, fold, shape) if shape is not None else None


def _draw(out: NDArray[np.uint8], row: _Row, corner: tuple[int, int], own: NDArray[np.uint8], larger: float) -> None:
    """Draw a row into shares: its contacts, and nothing elsewhere in the strip's own pixels near them.

    The photo is larger than the shares by a factor.
    """
    corners = row.places.corners_px()
    x0, y0 = np.maximum(np.floor(corners.min(0)), 0).astype(int).tolist()
    x1, y1 = np.ceil(corners.max(0)).astype(int).tolist()
    inside = out[y0 : y1 + 1, x0 : x1 + 1]
    mine = np.zeros(inside.shape, np.uint8)
    left, top = corner[0] - x0, corner[1] - y0
    part = own[max(-top, 0) : inside.shape[0] - top, max(-left, 0) : inside.shape[1] - left]
    mine[max(top, 0) : max(top, 0) + part.shape[0], max(left, 0) : max(left, 0) + part.shape[1]] = part
    mine = cv2.dilate(mine, np.ones((2 * _REACH_PX + 1,) * 2, np.uint8))
    rows, columns = inside.shape
    px = np.empty((rows, columns, 2))
    px[..., 0], px[..., 1] = np.arange(columns) + x0, (np.arange(rows) + y0)[:, None]
    index, phase, height = row.places.shifted(row.shape.middle).at(px.reshape(-1, 2))
    shape, fold = row.shape, row.fold
    drawn = drawn_share(shape, index, phase, height, fold.pitch_px / larger, fold.height_px / larger)
    near = (height > shape.top[index] - _AROUND) & (height < shape.bottom[index] + _AROUND)
    decided = (index >= 0) & near & (shape.there | shape.bare)[index] & ((mine.ravel() > 0) | (drawn > 0))
    inside[decided.reshape(inside.shape)] = np.round(255 * drawn[decided]).astype(np.uint8)
