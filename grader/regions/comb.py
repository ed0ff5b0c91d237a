"""A row of contacts followed through the picture itself, from those that were found as separate pieces.

Plating that is dim, runs together or was missed still recurs: one pitch on, the next contact looks the same. Nothing
here decides what is gold; it only locates contacts for counting them.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray

_SAMPLES = 24  # of a pitch
_ACROSS = np.linspace(-0.65, 0.65, 9)  # of half a contact's length
_REACH = 170  # pitches to either side: the longest row has 94 contacts on a face and keys
_ALIKE = 0.75  # correlation with the contacts beside it from which a place is a contact
_CONTRAST = 0.5  # and its contrast relative to theirs
_SHIFT = 0.14  # pitches by which a place may be off where it was expected
_RECENT = 8  # contacts that the next one must look like
_RESUME = 3  # contacts in a row that must follow a gap
_GAPS = np.arange(1.5, 8.6, 0.1)  # pitches over a key
_SINGLE = 0.3  # share by which a step between neighbours may differ from the usual one
_GAP = 1.6  # pitches from which a contact may be absent between two
_NEARBY = 16  # contacts that give the pitch near a place


@dataclass(frozen=True, eq=False)
class Comb:
    """Contacts of one row.

    Attributes:
        centres_px: float64 (n, 2), in order along the row.
        along: float64 (n,), their places on the row's line, px.
        found: bool (n,), whether each was known before.
    """

    centres_px: FloatArray
    along: FloatArray
    found: BoolArray


def follow(
    rgb: NDArray[np.uint8], centres_px: FloatArray, along: FloatArray, pitch_px: float, half_px: FloatArray
) -> Comb:
    """The whole row, followed from the contacts found.

    Args:
        rgb: the photo, uint8 (height, width, 3).
        centres_px: of the contacts found, in order (n, 2).
        along: their places on the row's line, px (n,).
        pitch_px: typical step between neighbours.
        half_px: half of a contact's length as a step, (2,).
    """
    line = _Line.through(centres_px, along, pitch_px, half_px, rgb)
    tracker = _Tracker(line, [float(a) for a in along])
    tracker.fill()
    tracker.walk(1)
    tracker.walk(-1)
    places = np.array(sorted(tracker.places))
    found = np.isin(places, along)
    centres = line.at(places)
    centres[found] = centres_px
    return Comb(centres, places, found)


@dataclass(frozen=True, eq=False)
class _Line:
    """Colours along the row's line, averaged over a contact's length."""

    start: float
    step: float
    colours: FloatArray  # (n, 4): red, green, blue, and their steepness
    origin: FloatArray
    axis: FloatArray

    @staticmethod
    def through(
        centres: FloatArray, along: FloatArray, pitch: float, half: FloatArray, rgb: NDArray[np.uint8]
    ) -> _Line:
        slope = np.polynomial.polynomial.polyfit(along, centres, 1)
        origin, axis = slope[0], slope[1]
        step = pitch / _SAMPLES
        low, high = along[0] - _REACH * pitch, along[-1] + _REACH * pitch
        s = np.arange(low, high, step)
        points = origin + s[:, None] * axis
        inside = np.all((points >= 0) & (points <= np.array(rgb.shape[1::-1]) - 1), axis=1)
        s, points = s[inside], points[inside]
        at = (points[None] + _ACROSS[:, None, None] * half).astype(np.float32)
        seen = np.zeros((len(s), 3))
        for start in range(0, len(s), 30_000):  # OpenCV takes no map of more than 32 767 columns
            part = at[:, start : start + 30_000]
            looked = cv2.remap(rgb, part[..., 0], part[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            seen[start : start + 30_000] = looked.astype(np.float64).mean(axis=0)
        smooth = cv2.GaussianBlur(seen.reshape(1, -1, 3), (0, 0), max(0.6, 0.35 / step))[0]
        steep = np.abs(np.gradient(smooth, axis=0)).sum(axis=1) * _SAMPLES / 6
        return _Line(float(s[0]), step, np.column_stack([smooth, steep]), origin, axis)

    def at(self, places: FloatArray) -> FloatArray:
        return np.asarray(self.origin + places[:, None] * self.axis)

    def windows(self, places: FloatArray, pitch: float) -> FloatArray:
        """Colours of one pitch around each place less their mean, (m, _SAMPLES, 4); NaN where the picture ends."""
        offsets = (np.arange(_SAMPLES) + 0.5) / _SAMPLES - 0.5
        at = (places[:, None] + offsets * pitch - self.start) / self.step
        low = np.floor(at).astype(int)
        within = (low >= 0) & (low + 1 < len(self.colours))
        low = np.clip(low, 0, len(self.colours) - 2)
        part = (at - low)[..., None]
        seen = self.colours[low] * (1 - part) + self.colours[low + 1] * part
        seen[~within.all(axis=1)] = np.nan
        return np.asarray(seen - seen.mean(axis=1, keepdims=True))


class _Tracker:
    """Places of the contacts known so far; finds the next ones beside them."""

    def __init__(self, line: _Line, places: list[float]) -> None:
        self.line = line
        self.places = sorted(places)

    def pitch_near(self, place: float) -> float:
        """Pitch near a place, from the single steps between the contacts nearest to it."""
        known = np.array(self.places)
        steps, middles = np.diff(known), (known[:-1] + known[1:]) / 2
        usual = self._usual(steps)
        nearest = np.argsort(np.abs(middles - place))
        single = nearest[np.abs(steps[nearest] / usual - 1) < _SINGLE][:_NEARBY]
        return float(np.mean(steps[single])) if len(single) else usual

    @staticmethod
    def _usual(steps: FloatArray) -> float:
        """Median of the steps, without the longest if their number is odd."""
        half, in_order = len(steps) // 2, np.sort(steps)
        return float(np.mean(in_order[max(half - 1, 0) : half + 1]))

    def alike(self, places: FloatArray, pitch: float, near: float) -> FloatArray:
        """Likeness of each place (m,) to the contacts around ``near``, -1..1; -1 for too little contrast."""
        known = np.array(self.places)
        recent = known[np.argsort(np.abs(known - near))[:_RECENT]]
        model = np.nanmean(self.line.windows(recent, pitch), axis=0)
        seen = self.line.windows(places, pitch)
        total = np.zeros(len(places))
        for channels in (slice(0, 3), slice(3, 4)):
            m, w = model[:, channels], seen[..., channels]
            size, own = float(np.sqrt((m**2).sum())), np.sqrt((w**2).sum(axis=(1, 2)))
            score = (w * m).sum(axis=(1, 2)) / np.maximum(own * size, 1e-9)
            score[~(own > _CONTRAST * size)] = -1.0
            total += score / 2
        return np.where(np.isfinite(total), total, -1.0)

    def _hit(self, expected: float, pitch: float, near: float) -> float | None:
        """The place near an expected one that looks most like a contact, or None."""
        tried = expected + pitch * np.linspace(-_SHIFT, _SHIFT, 9)
        score = self.alike(tried, pitch, near)
        i = int(np.argmax(score))
        return float(tried[i]) if score[i] > _ALIKE else None

    def fill(self) -> None:
        """Add contacts between those known, from either side of each gap."""
        usual = self._usual(np.diff(self.places))
        for left, right in list(zip(self.places[:-1], self.places[1:], strict=True)):
            # most steps are single: no pitch, whatever its place, is so short that one more contact fits
            if right - left <= _GAP * (1 - _SINGLE) * usual:
                continue
            pitch = self.pitch_near((left + right) / 2)
            for near, far, side in ((left, right, 1), (right, left, -1)):
                place = near
                while (far - place) * side > _GAP * pitch:
                    hit = self._hit(place + side * pitch, pitch, place)
                    if hit is None or min(abs(hit - p) for p in self.places) < 0.6 * pitch:
                        break
                    self.places = sorted([*self.places, hit])
                    usual = self._usual(np.diff(self.places))
                    place = hit

    def walk(self, side: int) -> None:
        """Add contacts beyond the last one known on one side."""
        while True:
            end = self.places[-1] if side > 0 else self.places[0]
            pitch = self.pitch_near(end)
            hit = self._hit(end + side * pitch, pitch, end)
            more = [hit] if hit is not None else self._over_key(end, side, pitch)
            if not more:
                return
            self.places = sorted([*self.places, *more])

    def _beyond(self, end: float, side: int, pitch: float, several: int) -> tuple[FloatArray, FloatArray]:
        """Places beyond each possible key (k, several), and the likeness of the least alike of them (k,)."""
        tried = end + side * pitch * (_GAPS[:, None] + np.arange(several))
        return tried, self.alike(tried.ravel(), pitch, end).reshape(tried.shape).min(axis=1)

    def _over_key(self, end: float, side: int, pitch: float) -> list[float]:
        """The first contacts beyond a key; empty if none are found."""
        tried, score = self._beyond(end, side, pitch, _RESUME)
        for i in np.flatnonzero(score > _ALIKE):
            best = i + int(np.argmax(score[i : i + 4]))
            return [float(t) for t in tried[best]]
        return []
