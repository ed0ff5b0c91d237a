"""Contacts of a row, drawn as in real rows: at one pitch, of one width, ending on one line.

Where plating and laminate look alike, the network sees that there is a row, and about how much of it is plated, but
not where one contact ends and the next begins. The network and the photo together show enough along the whole row:

1. A strip is what would be one piece if the gaps between contacts were closed. It is laid flat in millimetres.
2. Its pitch, and where each contact lies, follow from shares and colours averaged along the contacts
   (``contact_strip``).
3. All contacts get one width, chosen so that the row's plated area stays the same. Each keeps its own share, so that
   worn and missing contacts stay so; its spread over the contact's length is shared with its neighbours.

Rows that the network is sure of are left alone: it sees their contacts one by one, better than a model of all.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.coverage.contact_strip import (
    LEAST_PITCH_PX,
    PITCHES_MM,
    FlatStrip,
    GreyPicture,
    StripComb,
    comb_of,
    laid_flat,
    leant,
    rectangle,
    smooth,
)
from grader.coverage.error import doubt_of
from grader.coverage.plated import around_plating

# Chosen on renders that the network was not trained on. Another gap changed the mean IoU there by no more than 0.002.
_SEEN, _IS_CONTACT = 50, 110  # of 255: plated share and chance of an edge contact above which a pixel is in a strip
_GAP_MM = 0.45  # closed to make strips
_REACH_PX = 2  # redrawn beyond a strip's own pixels
_SHORTEST_MM, _NARROWEST_MM, _LEAST_ASPECT = 4.0, 1.2, 1.3  # of strips
_LONGEST_MM = 500.0  # no edge connector is this long (common practice, no source): if a strip is, the scale is wrong
_LEAST_DOUBT = 0.16  # of a strip: strips with less doubt stay; at 0.13 one picture in eight got worse
_LIKE_NEIGHBOURS = 2.0  # standard deviation, in contacts, of the window for the spread over the length
_MISSING = 0.5  # of the usual share: contacts with less are drawn as they are
_OWN_SHARE = (0.7, 1.3)  # of its neighbours' share: between these limits a contact keeps its own
_WIDTHS = (0.3, 0.95)  # of a pitch
_SOFT = 1.2  # steps over which a drawn edge is spread
_ROUNDS = 5


def draw_rows(
    rgb: NDArray[np.uint8], share: NDArray[np.uint8], contact: NDArray[np.uint8], plane: FacePlane, px_per_mm: float
) -> NDArray[np.uint8]:
    """Shares in which doubtful rows of contacts are drawn evenly; the sum of each stays nearly what it was.

    Args:
        rgb: uint8 (height, width, 3).
        share: uint8 (height, width), plated share, 255 = 1.
        contact: uint8 (height, width), chance of an edge contact, 255 = 1.
        plane: of the faces, from pixels of this picture.
        px_per_mm: of this picture.
    """
    seen = ((share > _SEEN) & (contact > _IS_CONTACT)).astype(np.uint8)
    gap = max(3, round(_GAP_MM * px_per_mm) | 1)
    closed = cv2.morphologyEx(seen, cv2.MORPH_CLOSE, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (gap, gap)))
    rows, columns = around_plating(closed)  # the rest of the picture holds nothing to label
    if rows.start == rows.stop:
        return share.copy()
    _, labels, boxes, _ = cv2.connectedComponentsWithStats(closed[rows, columns])
    boxes[:, [cv2.CC_STAT_LEFT, cv2.CC_STAT_TOP]] += [columns.start, rows.start]
    finest_mm = max(PITCHES_MM[0], LEAST_PITCH_PX / px_per_mm)
    large = boxes[:, cv2.CC_STAT_AREA] >= _SHORTEST_MM * _NARROWEST_MM * px_per_mm**2

    def draw(number: int) -> tuple[tuple[slice, slice], NDArray[np.bool_], GreyPicture] | None:
        left, top, width, height, _ = boxes[number].tolist()
        y0, x0 = max(top - _REACH_PX, 0), max(left - _REACH_PX, 0)
        around = (slice(y0, top + height + _REACH_PX), slice(x0, left + width + _REACH_PX))
        own = np.zeros(share[around].shape, np.uint8)
        y, x = top - y0, left - x0
        at_label = (slice(top - rows.start, None), slice(left - columns.start, None))
        own[y : y + height, x : x + width] = labels[at_label][:height, :width] == number
        own = cv2.dilate(own, np.ones((2 * _REACH_PX + 1,) * 2, np.uint8)) > 0
        before = share[around][own]
        if doubt_of(before) < _LEAST_DOUBT:
            return None
        at_mm = plane.to_mm((np.argwhere(own)[:, ::-1] + [x0, y0]).astype(np.float64))
        strip = _strip(rgb, share, plane, at_mm)
        comb = comb_of(strip, finest_mm) if strip is not None else None
        if strip is None or comb is None:
            return None
        drawn = 255 * _looked_up(_drawn(strip, comb), strip.places(at_mm))
        return around, own, drawn * (float(before.sum()) / max(float(drawn.sum()), 1.0))

    out = share.copy()
    # one after another: the steps are so short that threads would only wait for each other
    for done in map(draw, (np.flatnonzero(large[1:]) + 1).tolist()):
        if done is not None:
            around, own, drawn = done
            out[around][own] = np.clip(np.round(drawn), 0, 255)
    return out


def _strip(rgb: NDArray[np.uint8], share: NDArray[np.uint8], plane: FacePlane, at_mm: FloatArray) -> FlatStrip | None:
    """The strip that these points (n, 2) form; None if they form no strip."""
    if not np.isfinite(at_mm).all():
        return None
    middle, along, length, width = rectangle(at_mm)
    if not max(_SHORTEST_MM, _LEAST_ASPECT * width) <= length <= _LONGEST_MM or width < _NARROWEST_MM:
        return None
    return laid_flat(rgb, share, plane, middle, along, (length, width))


def _drawn(strip: FlatStrip, comb: StripComb) -> GreyPicture:
    """The flat strip's shares with all contacts drawn alike."""
    upright = leant(strip.share, comb.lean)
    number = np.floor(comb.phase + 0.5).astype(np.intp)
    off = np.abs(comb.phase - number) * comb.pitch  # steps from a contact's middle
    number -= number.min()
    steps = np.bincount(number)
    sums = np.stack([np.bincount(number, across, len(steps)) for across in upright])
    own = _like_neighbours(sums / np.maximum(steps, 0.8 * comb.pitch))
    width, total = 0.7, float(upright.sum())
    drawn = np.zeros_like(upright)
    for _ in range(_ROUNDS):
        box = np.clip((width * comb.pitch / 2 - off) / _SOFT + 0.5, 0, 1)
        drawn = (np.minimum(own / width, 1.0)[:, number] * box).astype(np.float32)
        width = float(np.clip(width * total / max(float(drawn.sum()), 1e-6), *_WIDTHS))
    return leant(drawn, -comb.lean)


def _like_neighbours(own: FloatArray) -> FloatArray:
    """Shares over the length (height, contacts), each contact's spread taken from it and its neighbours."""
    total = own.sum(axis=0)
    there = (total > _MISSING * np.median(total)).astype(np.float64)
    several, few = (
        smooth(v.astype(np.complex128), _LIKE_NEIGHBOURS).real.T for v in ((own * there).T, there[:, None])
    )
    around = several / np.maximum(few, 1e-3)
    factor = np.clip(total / np.maximum(around.sum(axis=0), 1e-6), *_OWN_SHARE)
    return np.asarray(np.where(there > 0, around * factor, own))


def _looked_up(picture: GreyPicture, at: tuple[GreyPicture, GreyPicture]) -> GreyPicture:
    """A picture's values (n,) at n places."""
    side = int(np.ceil(np.sqrt(len(at[0]))))  # OpenCV takes no map of more than 32 767 rows
    x, y = (np.resize(v, (side, side)) for v in at)
    return np.asarray(
        cv2.remap(picture, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT).ravel()[: len(at[0])]
    )
