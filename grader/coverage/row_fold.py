"""A row of contacts cut at its pitch and laid over itself: what is alike in all contacts stays, noise averages out.

A place in a row is a contact's number, a phase (-0.5 to 0.5 pitches from the contact's middle along the row) and a
height (0 and 1 at the two sides of the strip, along the contacts).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.scale import FacePlane
from grader.coverage.contact_strip import ACROSS_MM, ALONG_MM, ENDS, SIDES, FlatStrip, StripComb, smooth

GreyCube = NDArray[np.float32]

PHASES = np.asarray((np.arange(24) + 0.5) / 24 - 0.5)
BEYOND = 0.3  # of the strip's height: how far beyond its two sides a fold reaches
_HEIGHTS = 48
HEIGHTS = np.asarray((np.arange(_HEIGHTS) + 0.5) / _HEIGHTS * (1 + 2 * BEYOND) - BEYOND)
_LEAST_PART = 0.25  # of a contact that must lie in the strip for it to have a number
_MOVED, _TURNED = 1.5, 2.0  # standard deviations, in contacts, of the windows for the offsets and the leans below
_AT_ONCE = 16_000  # rows of a map; OpenCV takes no more than 32 767


@dataclass(frozen=True, eq=False)
class RowPlaces:
    """Where in a picture the contacts of a row lie.

    Attributes:
        strip: the row, laid flat.
        comb: where contacts lie in it.
        plane: of the faces, from pixels of the picture.
        numbers: float64 (k,), of the contacts, one after another.
        moved: float64 (k,), pitches by which each contact lies further along than the comb says.
        turned: float64 (k,), the same, more at height 1 than at height 0.
    """

    strip: FlatStrip
    comb: StripComb
    plane: FacePlane
    numbers: FloatArray
    moved: FloatArray
    turned: FloatArray

    @staticmethod
    def of(strip: FlatStrip, comb: StripComb, plane: FacePlane) -> RowPlaces:
        """As the comb says, which leans alike everywhere."""
        first, last = np.ceil(comb.phase[ENDS] - _LEAST_PART), np.floor(comb.phase[-ENDS - 1] + _LEAST_PART)
        numbers = np.arange(first, last + 1)
        return RowPlaces(strip, comb, plane, numbers, np.zeros(len(numbers)), np.zeros(len(numbers)))

    def shifted(self, phase: float) -> RowPlaces:
        """With the contacts' middles at what was a phase of these places."""
        return replace(self, moved=self.moved + phase)

    def px(self) -> NDArray[np.float32]:
        """Pixel positions (k, heights, phases, 2) of all places of a fold."""
        column, phase = self._columns()
        level = self.moved[:, None] + self.turned[:, None] * (HEIGHTS - 0.5)
        along = np.interp(self.numbers[:, None, None] + PHASES + level[..., None], phase, column)
        row = (HEIGHTS - 0.5) * self._steps
        along += self._slope * row[:, None]
        x, y = along * ALONG_MM, (row + self._middle) * ACROSS_MM
        at_mm = self.strip.corner + self.strip.along * x[..., None] + self.strip.across * y[:, None, None]
        return self.plane.to_px(at_mm.reshape(-1, 2)).astype(np.float32).reshape(at_mm.shape)

    def at(self, px: FloatArray) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
        """Index of the contact (n,), -1 beyond the row's ends, phase (n,) and height (n,) at pixels (n, 2)."""
        off = self.plane.to_mm(px) - self.strip.corner
        row = off @ self.strip.across / ACROSS_MM - self._middle
        height = row / self._steps + 0.5
        column = off @ self.strip.along / ALONG_MM - self._slope * row
        # what changes along the row only is worked out once a step, and between steps lies on a line
        step, phase = self._columns()
        steps = np.arange(step[0], step[-1] + 1)
        number = np.interp(steps, step, phase) - self.numbers[0]
        contacts = np.arange(len(self.numbers))
        turned = np.interp(number, contacts, self.turned)
        number -= np.interp(number, contacts, self.moved)
        column = np.clip(column - step[0], 0, len(steps) - 2)
        before = column.astype(np.intp)
        part = column - before
        number, turned = (v[before] + np.diff(v)[before] * part for v in (number, turned))
        number -= turned * (height - 0.5)
        index = np.floor(number + 0.5).astype(np.intp)
        inside = (index >= 0) & (index < len(contacts))
        return np.where(inside, index, -1), number - index, height

    def corners_px(self) -> FloatArray:
        """Corners (4, 2) of all that a fold covers, in pixels."""
        columns = np.array([0.0, self.strip.share.shape[1]]) * ALONG_MM
        rows = (np.array([-BEYOND, 1 + BEYOND]) - 0.5) * self._steps + self._middle
        x, y = (v.ravel() for v in np.meshgrid(columns, rows * ACROSS_MM))
        return self.plane.to_px(self.strip.corner + np.outer(x, self.strip.along) + np.outer(y, self.strip.across))

    @property
    def _middle(self) -> float:
        return float(self.strip.share.shape[0] - 1) / 2

    @property
    def _steps(self) -> float:
        """Rows of the flat strip between heights 0 and 1."""
        return float(self.strip.share.shape[0] - 2 * SIDES)

    @property
    def _slope(self) -> float:
        return self.comb.lean * ACROSS_MM / ALONG_MM

    def _columns(self) -> tuple[FloatArray, FloatArray]:
        """Columns of the flat strip, and the phase that the comb has there, which never falls."""
        phase = np.maximum.accumulate(self.comb.phase)
        column = np.arange(len(phase), dtype=np.float64)
        beyond = np.ceil(2 * self.comb.pitch)
        further = beyond / self.comb.pitch
        return (
            np.concatenate([[-beyond], column, [column[-1] + beyond]]),
            np.concatenate([[phase[0] - further], phase + 1e-9 * column, [phase[-1] + 1e-3 + further]]),
        )


@dataclass(frozen=True, eq=False)
class Fold:
    """Colours and shares of all contacts, one over the other.

    Attributes:
        colour: float32 (k, heights, phases, 3), 0..1.
        share: float32 (k, heights, phases), 0..1.
        pitch_px, height_px: of the row, at its middle, in pixels of the photo.
    """

    colour: GreyCube
    share: GreyCube
    pitch_px: float
    height_px: float


def folded(places: RowPlaces, photo: NDArray[np.uint8], share: NDArray[np.uint8]) -> Fold:
    """A row as it is in a photo and in shares.

    Args:
        places: of the row, in the map of shares.
        photo: uint8 (height, width, 3), of any size.
        share: uint8 (height, width), plated share, 255 = 1.
    """
    at = places.px()
    count, heights, phases = at.shape[:3]
    larger = photo.shape[1] / share.shape[1]
    in_photo = (at + np.float32(0.5)) * np.float32(larger) - np.float32(0.5)
    colour, plated = (
        np.asarray(
            np.concatenate(
                [
                    cv2.remap(picture, to[i : i + _AT_ONCE], None, cv2.INTER_LINEAR, borderMode=border)
                    for i in range(0, len(to), _AT_ONCE)
                ]
            )
            / np.float32(255),
            np.float32,
        )
        for picture, to, border in (
            (photo, in_photo.reshape(-1, phases, 2), cv2.BORDER_REPLICATE),
            (share, at.reshape(-1, phases, 2), cv2.BORDER_CONSTANT),
        )
    )
    along = in_photo[:, heights // 2, phases // 2]
    up = in_photo[count // 2, :, phases // 2]
    return Fold(
        colour.reshape(count, heights, phases, 3),
        plated.reshape(count, heights, phases),
        float(np.linalg.norm(along[-1] - along[0])) / max(count - 1, 1),
        float(np.linalg.norm(up[-1] - up[0])) / float(HEIGHTS[-1] - HEIGHTS[0]),
    )


def straightened(places: RowPlaces, signal: GreyCube, there: NDArray[np.bool_]) -> RowPlaces:
    """The places moved to where a signal (k, heights, phases) shows each contact, and turned as it leans there.

    Seen at a slant, contacts lean more at one end of a row than at the other.

    Args:
        places: as known so far.
        signal: greater on contacts than between them.
        there: bool (k,), contacts that count.
    """
    inside = (HEIGHTS > 0.2) & (HEIGHTS < 0.8)
    seen = (signal[:, inside] @ np.exp(-2j * np.pi * PHASES)) * there[:, None]
    seen = seen * np.exp(-1j * np.angle(seen.sum()))
    height = HEIGHTS[inside] - 0.5
    half = len(height) // 2
    turn = _along_row(seen[:, half:].sum(1) * np.conj(seen[:, :half].sum(1)), _TURNED)
    weight = np.abs(turn)
    line = np.stack([np.ones(len(turn)), places.numbers - places.numbers.mean()], axis=1)
    best = np.linalg.lstsq(line * weight[:, None], np.angle(turn) * weight, rcond=None)[0]
    turned = -(line @ best) / (2 * np.pi * float(height[half:].mean() - height[:half].mean()))
    upright = (seen * np.exp(2j * np.pi * turned[:, None] * height)).sum(1)
    moved = places.moved - np.angle(_along_row(upright, _MOVED)) / (2 * np.pi)
    return replace(places, moved=moved, turned=places.turned + turned)


def _along_row(signal: NDArray[np.complex128], sigma: float) -> NDArray[np.complex128]:
    return smooth(signal[:, None], sigma)[:, 0]
