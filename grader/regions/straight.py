"""Straight sides of an outline, placed where the photo shows the board's edge.

The map that outlines come from is coarse: along a straight side it wavers by some tenths of a millimetre. Long sides
are fitted through it; places far from a side count little. Each side is then moved, by about as much as the map is
uncertain, to where the photo changes most along the whole side. Everything that is not a long side (notches, round
corners, sides that continue beyond the photo) stays as it was.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane

# Chosen on renders of boards that lie alone.
_STEP_MM = 0.5  # of places along an outline
_WAVER_MM = 1.2  # a side is a chord from which the outline departs by no more than this
_LONG_MM = 8.0  # shorter chords are not sides
_ENDS_MM = 1.0  # length at a side's ends that does not count, as corners are round
_NEAR_MM = 0.3  # farther than this from a fitted side, a place counts less
_BENT_MM = 0.3  # its middle third against the other two: a round outline's chord is not a side
_ROUNDS = 5
_ALONG_MM, _ACROSS_MM = 1.0, 0.1  # of places at which the photo is looked at
_MOST_SHIFT = 10  # places across, the most by which either end of a side is moved
_TRUST_MM, _TURN_MM = 0.45, 0.3  # standard deviations of a fitted side's place, and of either end against its middle
_MOST_STEP = 150.0  # codes, sum of the three colours: no single glint decides for a whole side
_QUIET = 1.0  # codes added to every change: where the photo shows no edge, a side stays as fitted
_CORNER_MM = 3.6  # greatest distance from an outline to the point where two of its sides meet
_BORDER_PX = 3  # this near to the photo's border, a side is that border
_LEAST_BEND = np.sin(np.radians(15.0))


@dataclass(frozen=True, eq=False)
class _Side:
    """A long side of an outline given as n places.

    Attributes:
        a, b: float64 (2,), its ends, mm.
        first: number of the place where it begins.
        count: steps from place to place up to its end.
    """

    a: FloatArray
    b: FloatArray
    first: int
    count: int

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.b - self.a)))

    @property
    def along(self) -> FloatArray:
        return np.asarray((self.b - self.a) / self.length)

    @property
    def across(self) -> FloatArray:
        x, y = self.along
        return np.array([-y, x])

    def foot(self, place: FloatArray) -> FloatArray:
        """The nearest place on its line."""
        return np.asarray(self.a + self.along * ((place - self.a) @ self.along))


def straightened(outline_mm: FloatArray, plane: FacePlane, rgb: NDArray[np.uint8]) -> FloatArray:
    """An outline with its long sides straight.

    Args:
        outline_mm: float64 (k, 2), closed, in the plane of the faces.
        plane: of the faces.
        rgb: the photo, uint8 (height, width, 3).

    Returns:
        float64 (m, 2), mm; the unchanged outline if it has no long side.
    """
    places = _spaced(outline_mm)
    sides = [side for side in _sides(places) if not _on_border(side, plane, rgb)]
    if not sides:
        return outline_mm
    return _joined(places, _moved(sides, plane, rgb))


def _spaced(outline: FloatArray) -> FloatArray:
    closed = np.concatenate([outline, outline[:1]])
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    at = np.linspace(0, run[-1], max(4, round(run[-1] / _STEP_MM)), endpoint=False)
    return np.column_stack([np.interp(at, run, values) for values in closed.T])


def _sides(places: FloatArray) -> list[_Side]:
    """Long sides in the order of the places."""
    n = len(places)
    corners = cv2.approxPolyDP(places.astype(np.float32).reshape(-1, 1, 2), _WAVER_MM, closed=True).reshape(-1, 2)
    at = np.sort(np.hypot(*(places[:, None] - corners[None]).transpose(2, 0, 1)).argmin(axis=0)).tolist()
    found = []
    for first, last in zip(at, [*at[1:], at[0] + n], strict=True):
        a, b = places[first], places[last % n]
        chord, own = _Side(a, b, first, last - first), places[np.arange(first, last + 1) % n]
        if chord.length >= _LONG_MM and not _is_bent(chord, own):
            found.append(_fitted(chord, own))
    return found


def _on_border(side: _Side, plane: FacePlane, rgb: NDArray[np.uint8]) -> bool:
    """Whether a side is the photo's own border, beyond which the board continues."""
    place = plane.to_px((side.a + side.b)[None] / 2)[0]
    return bool(np.min([place, np.array(rgb.shape[1::-1]) - 1 - place]) < _BORDER_PX)


def _is_bent(chord: _Side, own: FloatArray) -> bool:
    first, middle, last = (float(np.median(d)) for d in np.array_split((own - chord.a) @ chord.across, 3))
    return abs(middle - (first + last) / 2) > _BENT_MM


def _fitted(chord: _Side, own: FloatArray) -> _Side:
    """The line through most of its places, from end to end of the chord."""
    t, d = (own - chord.a) @ chord.along, (own - chord.a) @ chord.across
    inner = (t > _ENDS_MM) & (t < chord.length - _ENDS_MM)
    t, d = t[inner], d[inner]
    weight = np.ones(len(t))
    for _ in range(_ROUNDS):
        sum_w = weight.sum()
        t_mean, d_mean = (weight * t).sum() / sum_w, (weight * d).sum() / sum_w
        slope = (weight * (t - t_mean) * (d - d_mean)).sum() / (weight * (t - t_mean) ** 2).sum()
        off = np.abs(d - d_mean - slope * (t - t_mean))
        weight = (_NEAR_MM / np.maximum(off, _NEAR_MM)) ** 2
    start, end = (d_mean + slope * (at - t_mean) for at in (0.0, chord.length))
    return _shifted(chord, float(start), float(end))


def _shifted(side: _Side, start: float, end: float) -> _Side:
    return _Side(side.a + start * side.across, side.b + end * side.across, side.first, side.count)


def _moved(sides: list[_Side], plane: FacePlane, rgb: NDArray[np.uint8]) -> list[_Side]:
    """The sides moved to where the photo changes most along each, not too far from their fitted places."""
    along = [np.arange(_ENDS_MM, side.length - _ENDS_MM, _ALONG_MM) for side in sides]
    shift = np.arange(-_MOST_SHIFT - 1, _MOST_SHIFT + 2) * _ACROSS_MM
    places = np.concatenate(
        [
            side.a + t[:, None, None] * side.along + shift[:, None] * side.across
            for side, t in zip(sides, along, strict=True)
        ]
    )
    x, y = plane.to_px(places.reshape(-1, 2)).astype(np.float32).T.reshape(2, *places.shape[:2])
    seen = cv2.remap(rgb, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    step = np.minimum(np.abs(seen[:, 2:] - seen[:, :-2]).sum(axis=2), _MOST_STEP)
    ends = np.cumsum([len(t) for t in along])[:-1]
    return [
        _most_change(side, t / side.length, own)
        for side, t, own in zip(sides, along, np.split(step, ends), strict=True)
    ]


def _most_change(side: _Side, share: FloatArray, step: NDArray[np.float32]) -> _Side:
    """A side with both ends moved.

    Args:
        side: as fitted.
        share: places along it where the photo was sampled, (n,), 0..1.
        step: change of colour across the side at these places, (n, shifts).
    """
    number = np.arange(step.shape[1])
    between = number[:, None, None] * (1 - share) + number[None, :, None] * share
    change = step[np.arange(len(share)), np.round(between).astype(np.intp)].mean(axis=2)
    shift = (number - _MOST_SHIFT) * _ACROSS_MM
    middle, turn = (shift[:, None] + shift) / 2, (shift[:, None] - shift) / 2
    trust = np.exp(-((middle / _TRUST_MM) ** 2 + (turn / _TURN_MM) ** 2) / 2)
    start, end = np.unravel_index(int(((change + _QUIET) * trust).argmax()), trust.shape)
    return _shifted(side, float(shift[start]), float(shift[end]))


def _joined(places: FloatArray, sides: list[_Side]) -> FloatArray:
    """The sides and the places between them; where a side directly follows another, the corner that they form."""
    n = len(places)
    points: list[FloatArray] = []
    for side, after in zip(sides, [*sides[1:], sides[0]], strict=True):
        last = side.first + side.count
        between = places[np.arange(last, last + (after.first - last) % n + 1) % n]
        corner = _crossing(side, after) if len(between) == 1 else None
        if corner is not None and np.hypot(*(corner - between[0])) < _CORNER_MM:
            points.append(corner)
        else:
            points += [side.foot(between[0]), *between[1:-1], after.foot(between[-1])]
    return np.array(points)


def _crossing(one: _Side, other: _Side) -> FloatArray | None:
    facing = float(one.along @ other.across)
    if abs(facing) < _LEAST_BEND:
        return None
    return np.asarray(one.a + one.along * float((other.a - one.a) @ other.across) / facing)
