"""Contacts that ran together into one strip of plating, separated by the pattern that recurs along it in the picture.

Where a photo is coarse, grainy or oddly lit, the gaps of a row are lost in the coverage while the eye still sees
them. The strip shows where the row lies, which way its contacts point and how long they are. The colours along it,
averaged over the contacts' length, recur at their pitch.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from grader.coverage import Coverage
from grader.regions.find import PieceRow

_PLATED = 76  # share, 255 = wholly, from which a pixel belongs to a strip
_BLURS_PX = (0.0, 3.0, 6.0)  # found contacts of one strip may be this far apart
_CONTACT = 127  # chance of an edge contact, 255 = sure, that a strip must have on average
_LEAST = 6  # contacts in a strip
_SLENDER = 1.5  # strip's length ÷ its width: seven contacts of the stoutest outlines
_LEAST_WIDTH_PX = 8.0
_MOST_STRIPS = 12
_PITCHES = (1.2, 7.5)  # a contact's length ÷ the pitch, for the published outlines with room for tilt
_LEAST_PITCH_PX = 3.0
_RECURS = 0.35  # correlation with itself, a pitch on, from which colours recur
_ACROSS = np.linspace(-0.55, 0.55, 9)  # of half the strip's width: the middle, without ragged ends
_SAMPLES = 10  # of the shortest pitch
_LEAST_STEP_PX = 0.25
_BEYOND = 3.0  # strip lengths to either side in which the row may continue beyond a key
_GAP = 9.5  # pitches, as over the longest key
_FILLED = 0.4  # of the strip's own coverage, from which the line is taken for plated
_SNAP = 0.25  # pitches by which a contact may be off its expected place
_PLAIN, _PLAIN_DEPTH = 0.3, 0.7  # of the others' crests and coverage, at the ends of a stretch
_WIDE = 0.6  # of the pitch: a contact's width as returned


def strip_rows(coverage: Coverage, rgb: NDArray[np.uint8]) -> tuple[PieceRow, ...]:
    """Rows of contacts within strips of plating.

    Args:
        coverage: of the photo, with the chance of edge contacts.
        rgb: the photo, uint8 (height, width, 3).
    """
    rows = (_row(strip, coverage, rgb) for blur_px in _BLURS_PX for strip in _strips(coverage, blur_px))
    return tuple(row for row in rows if row is not None)


@dataclass(frozen=True, eq=False)
class _Strip:
    """A slender piece of plating that is taken for edge contacts.

    Attributes:
        middle: (2,) in the photo.
        half_along: (2,) half its length as a step.
        half_across: (2,) half its width as a step: half its contacts' length.
    """

    middle: FloatArray
    half_along: FloatArray
    half_across: FloatArray


def _strips(coverage: Coverage, blur_px: float) -> list[_Strip]:
    """The largest strips of a coverage, blurred so that separate contacts belong to one strip."""
    if coverage.contact is None:
        return []
    around = coverage.plated_box
    share, contact = coverage.share[around], coverage.contact[around]
    if not share.size:
        return []
    if blur_px:
        share = np.asarray(cv2.GaussianBlur(share, (0, 0), blur_px), np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((share >= _PLATED).astype(np.uint8))
    corner = np.array([around[1].start, around[0].start], np.float64)
    found = []
    for piece in 1 + np.argsort(-stats[1:count, cv2.CC_STAT_AREA], kind="stable")[:_MOST_STRIPS]:
        x, y, w, h, area = (int(v) for v in stats[piece])
        if area < _LEAST_WIDTH_PX**2 * _SLENDER:
            break
        own = labels[y : y + h, x : x + w] == piece
        if contact[y : y + h, x : x + w][own].mean() < _CONTACT:
            continue
        at = np.argwhere(own)[:, ::-1].astype(np.float64)
        variance, axes = np.linalg.eigh(np.cov(at.T))
        across, along = np.sqrt(3 * np.maximum(variance, 1 / 48))
        if 2 * across >= _LEAST_WIDTH_PX and along >= _SLENDER * across:
            middle = at.mean(axis=0) + np.add(corner, (x, y))
            found.append(_Strip(middle, along * axes[:, 1], across * axes[:, 0]))
    return found


def _row(strip: _Strip, coverage: Coverage, rgb: NDArray[np.uint8]) -> PieceRow | None:
    """Contacts along a strip and beyond its keys; None where nothing recurs."""
    length = float(np.hypot(*strip.half_along))
    axis = strip.half_along / length
    width = 2 * float(np.hypot(*strip.half_across))
    step = max(_LEAST_STEP_PX, width / _PITCHES[1] / _SAMPLES)
    s = np.arange(-(1 + _BEYOND) * length, (1 + _BEYOND) * length, step)
    points = strip.middle + s[:, None] * axis
    s = s[np.all((points >= 0) & (points <= np.array(rgb.shape[1::-1]) - 1), axis=1)]
    inside = np.abs(s) <= length
    colours, plated = (_along(picture, strip, s) for picture in (rgb, coverage.share))
    pitch = _pitch(colours[inside], width / step, _LEAST_PITCH_PX / step)
    if pitch is None or np.count_nonzero(inside) < _LEAST * pitch:
        return None
    wave = _wave(colours, plated, inside, pitch)
    places = _places(wave, plated, inside, pitch)
    if len(places) < _LEAST:
        return None
    centres = strip.middle + np.interp(places, np.arange(len(s)), s)[:, None] * axis
    beside = _WIDE / 2 * pitch * step * axis
    far, near = strip.half_across + beside, strip.half_across - beside
    return PieceRow(centres[:, None] + np.array([-far, near, far, -near]), None)


def _along(picture: NDArray[np.uint8], strip: _Strip, s: FloatArray) -> FloatArray:
    """Mean over the contacts' length at each place along the strip's line, (n, channels)."""
    axis = strip.half_along / float(np.hypot(*strip.half_along))
    at = (strip.middle + s[:, None] * axis + _ACROSS[:, None, None] * strip.half_across).astype(np.float32)
    seen = [
        cv2.remap(picture, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        for part in (at[:, start : start + 30_000] for start in range(0, len(s), 30_000))  # OpenCV takes no wider map
    ]
    return np.asarray(np.concatenate(seen, axis=1).astype(np.float64).mean(axis=0).reshape(len(s), -1))


def _detrended(seen: FloatArray, pitch: float) -> FloatArray:
    """Colours (n, c) less their changes over more than a pitch."""
    slow = cv2.GaussianBlur(np.ascontiguousarray(seen)[None], (0, 0), pitch, borderType=cv2.BORDER_REFLECT)[0]
    return np.asarray(seen - slow.reshape(seen.shape))


def _pitch(seen: FloatArray, width: float, shortest: float) -> float | None:
    """Step at which the colours recur, in samples; None where they do not.

    The shortest step that is nearly as good as the best is taken, as every multiple of the pitch recurs as well.

    Args:
        seen: colours along the line (n, c).
        width: of the strip in samples.
        shortest: shortest step in samples that could be seen.
    """
    least, most = max(width / _PITCHES[1], shortest), min(width / _PITCHES[0], len(seen) / _LEAST)
    lags = np.arange(int(least), int(most) + 1)
    even = _detrended(seen, width / _PITCHES[0])
    score = np.array([_recurrence(even, int(lag)) for lag in lags])
    peaks = [i for i in range(1, len(lags) - 1) if score[i] >= score[i - 1] and score[i] > score[i + 1]]
    good = [i for i in peaks if score[i] > max(_RECURS, 0.8 * max(score[j] for j in peaks))]
    return float(lags[0]) + _crest(score, good[0]) if good else None


def _recurrence(colours: FloatArray, lag: int) -> float:
    """Correlation of colours (n, c) with themselves, ``lag`` samples on."""
    one, other = colours[:-lag], colours[lag:]
    size = float(np.sqrt((one**2).sum() * (other**2).sum()))
    return float((one * other).sum()) / size if size > 0 else 0.0


def _crest(wave: FloatArray, i: int) -> float:
    """Place of a crest among evenly spaced samples, to a fraction of a sample."""
    before, here, after = (float(v) for v in wave[i - 1 : i + 2])
    curve = before - 2 * here + after
    return i + (0.5 * (before - after) / curve if curve < 0 else 0.0)


def _wave(colours: FloatArray, plated: FloatArray, inside: BoolArray, pitch: float) -> FloatArray:
    """The variation along the line as a wave (n,), high where there is more plating."""
    seen, more = _detrended(colours, pitch), _detrended(plated, pitch)[:, 0]
    _, _, axes = np.linalg.svd(seen[inside], full_matrices=False)
    wave = seen @ axes[0]
    if float(wave[inside] @ more[inside]) < 0:
        wave = -wave
    return np.asarray(cv2.GaussianBlur(wave[None], (0, 0), 0.2 * pitch, borderType=cv2.BORDER_REFLECT)[0].ravel())


def _places(wave: FloatArray, plated: FloatArray, inside: BoolArray, pitch: float) -> FloatArray:
    """Middles of contacts in samples, in order, in all stretches of plating at most a key's width apart."""
    filled = (plated[:, 0] > _FILLED * float(np.median(plated[inside]))).astype(np.uint8)
    size = 2 * int(0.5 * pitch) + 1
    filled = np.asarray(
        cv2.morphologyEx(filled[None], cv2.MORPH_CLOSE, np.ones((1, size), np.uint8))[0].ravel(), bool
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[False], filled, [False]]).astype(np.int8)))
    stretches = list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
    middle = int(np.flatnonzero(inside).mean())
    own = min(range(len(stretches)), key=lambda i: abs(sum(stretches[i]) / 2 - middle), default=None)
    if own is None:
        return np.zeros(0)
    taken = [own]
    for side in (1, -1):
        i = own
        while 0 <= i + side < len(stretches):
            gap = max(stretches[i + side][0] - stretches[i][1], stretches[i][0] - stretches[i + side][1])
            if gap > _GAP * pitch:
                break
            i += side
            taken.append(i)
    depth = plated[:, 0] / float(np.median(plated[inside]))
    return np.concatenate([_tracked(wave, depth, *stretches[i], pitch) for i in sorted(taken)])


def _tracked(wave: FloatArray, depth: FloatArray, start: int, end: int, pitch: float) -> FloatArray:
    """Contacts of one stretch, step by step from its highest crest; where there is no crest, at the expected place.

    At either end only contacts as plain as the others are kept: some may be missing there, but none is invented.
    """
    crests = np.array(
        [
            _crest(wave, i)
            for i in range(max(start, 1), min(end, len(wave) - 1))
            if wave[i - 1] < wave[i] >= wave[i + 1]
        ]
    )
    if not len(crests) or end - start < 0.5 * pitch:
        return np.zeros(0)
    first = float(crests[int(np.argmax([_rise(wave, c, pitch) for c in crests]))])
    places = [first]
    for side in (1, -1):
        at = first
        while True:
            expected = at + side * pitch
            nearest = float(crests[int(np.argmin(np.abs(crests - expected)))])
            at = nearest if abs(nearest - expected) <= _SNAP * pitch else expected
            if not start <= at < end:
                break
            places.append(at)
    found = np.array(sorted(places))
    spots = np.clip(np.round(found).astype(int), 0, len(wave) - 1)
    rise = np.array([_rise(wave, place, pitch) for place in found])
    plain = (
        np.isin(found, crests)
        & (rise > _PLAIN * np.median(rise))
        & (depth[spots] > _PLAIN_DEPTH * np.median(depth[spots]))
    )
    held = np.flatnonzero(plain)
    return found[held[0] : held[-1] + 1] if len(held) else np.zeros(0)


def _rise(wave: FloatArray, place: float, pitch: float) -> float:
    """Height of a crest above the higher of the troughs beside it; beyond a strip it may be darker still."""
    at, reach = min(round(place), len(wave) - 1), int(0.6 * pitch) + 1
    before, after = wave[max(at - reach, 0) : at + 1], wave[at : at + reach + 1]
    return float(wave[at] - max(before.min(), after.min()))
