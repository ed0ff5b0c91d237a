"""How wide and how long the contacts of a row are, and which are missing, as the photo shows them.

1. Contacts and gaps are two colours. The direction between them in which contacts differ least among themselves
   (Fisher's discriminant) makes one signal of three. Its median over all contacts is the profile of one pitch.
2. The contact's two edges lie where that profile is half way between contact and gap. Where a pitch has few pixels,
   the edges blend and half way is too narrow; there the network's width counts.
3. The contacts' two ends lie where the difference between contact and gap has fallen to half, on a line along the
   row. Where the photo and the network are far apart, the network is right: traces and print go on like contacts.
   Ends are half circles where this explains the photo better than straight ones.
4. A contact is missing where contact and gap have one colour, unless the network parts them, or where the network
   sees far less than elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.coverage.row_fold import HEIGHTS, PHASES, Fold, GreyCube

Flags = NDArray[np.bool_]

_MIDDLE = (HEIGHTS > 0.25) & (HEIGHTS < 0.75)  # heights that are surely contact
_USUAL = 0.5  # of the median contact's share: contacts with less are left out of the profile
_RIDGE = 0.02  # standard deviation of a colour that is added to what contacts differ by, 0..1
_ROUNDS = 3
_CORE = 0.3  # of a contact's or gap's width, either way of its middle: taken as its colour
_WIDTHS = (0.4, 0.95)  # of a pitch: connectors in use have 0.56 to 0.82 (see contact_families.toml)
_WIDTH_FROM_PX, _WIDTH_ALONE_PX = 4.0, 8.0  # pitch from which the photo's width counts, and from which it alone does
_PART = 5  # contacts, at least, whose ends are found together
_MOST_PARTS = 4
_OWN_END = 0.5  # weight of the end that the photo shows against the network's
_ENDS_APART = 0.2  # of the height: if photo and network are further apart, the network's end is taken
_THERE, _SEEN = 0.25, 0.3  # of the usual: contrast and share of a contact that is there
_FULL = 75  # per cent of the contacts that have less than a usual one: some may be missing
_FEWEST = 3  # contacts that show what others are like
_PARTED = 0.5  # share by which the network sees more on a contact than beside it, where it needs no colour
_SOFT_PX = 2.0  # over which edges blend in a photo
_AROUND = 0.12  # of the height: how far beyond the contacts' ends the photo is explained


@dataclass(frozen=True, eq=False)
class RowShape:
    """The contacts of a row.

    Attributes:
        middle: phase of the contacts' middle.
        width: in pitches.
        top, bottom: float64 (k,), heights of the two ends.
        there: bool (k,), contacts that are not missing.
        bare: bool (k,), places where contact and gap have one colour.
        rounded: whether the two ends are half circles.
        explained: part of the photo's changes along the row that these contacts explain.
        explained_before: part that the network's shares explain.
        plated: the network's share on contacts, median.
        side: how much more the network sees on contacts than in gaps, in standard errors; below 0 it sees gaps.
    """

    middle: float
    width: float
    top: FloatArray
    bottom: FloatArray
    there: Flags
    bare: Flags
    rounded: tuple[bool, bool]
    explained: float
    explained_before: float
    plated: float
    side: float


@dataclass(frozen=True, eq=False)
class Levels:
    """Contact and gap told apart.

    Attributes:
        signal: float32 (k, heights, phases); 1 more on contacts than in gaps.
        left, right: the contact's two edges, pitches.
        contact, gap: bool (phases,), surely contact and surely gap.
        usual: bool (k,), contacts that the profile was taken from.
    """

    signal: GreyCube
    left: float
    right: float
    contact: Flags
    gap: Flags
    usual: Flags


def levels(fold: Fold) -> Levels | None:
    """Contact and gap, by their colours; None where the profile has no two levels."""
    colour = fold.colour[:, _MIDDLE].mean(1)
    seen = fold.share[:, _MIDDLE].mean((1, 2))
    usual = seen > _USUAL * np.median(seen)
    if usual.sum() < _FEWEST:
        return None
    left, right = -0.3, 0.3
    sign = np.ones(len(seen), np.float32)
    for _ in range(_ROUNDS):
        contact, gap = _cores(left, right)
        apart = colour[:, contact].mean(1) - colour[:, gap].mean(1)
        mean = np.median((apart * sign[:, None])[usual], axis=0)
        differ = apart[usual] * sign[usual, None] - mean
        weights = np.linalg.solve(np.cov(differ.T) + _RIDGE**2 * np.eye(3), mean)
        sign = np.where(apart @ weights < -_THERE * (mean @ weights), -1, 1).astype(np.float32)
        one = (colour @ weights * sign[:, None])[usual]
        profile = np.median(one - one[:, gap].mean(1, keepdims=True), axis=0)
        low, high = profile[gap].mean(), profile[contact].mean()
        if high - low < 1e-9:
            return None
        edges = _half_way((profile - low) / (high - low), (left + right) / 2)
        if edges is None or not _WIDTHS[0] < edges[1] - edges[0] < _WIDTHS[1]:
            return None
        left, right = edges
    signal = np.asarray(fold.colour @ (weights / (high - low)).astype(np.float32), np.float32)
    signal *= sign[:, None, None]
    return Levels(signal, left, right, *_cores(left, right), usual)


def shape_of(fold: Fold, found: Levels) -> RowShape | None:
    """The contacts' shape; None where neither photo nor network shows their ends."""
    usual, contact, gap = found.usual, found.contact, found.gap
    contrast = found.signal[:, :, contact].mean(2) - found.signal[:, :, gap].mean(2)
    seen = fold.share[:, :, contact].mean(2)
    more = (seen - fold.share[:, :, gap].mean(2))[:, _MIDDLE].mean(1)
    strength, plated = (v[:, _MIDDLE].mean(1) for v in (contrast, seen))
    bare = (strength < _THERE * np.percentile(strength[usual], _FULL)) & (more < _PARTED)
    there = ~bare & (plated > _SEEN * np.percentile(plated[usual], _FULL))
    known = usual & there
    if known.sum() < _FEWEST:
        return None
    top, bottom = (_either(*ends) for ends in zip(_ends(contrast, known), _ends(seen, known), strict=True))
    if top is None or bottom is None:
        return None
    own = np.clip((fold.pitch_px - _WIDTH_FROM_PX) / (_WIDTH_ALONE_PX - _WIDTH_FROM_PX), 0, 1)
    width = own * (found.right - found.left) + (1 - own) * float(fold.share[known][:, _MIDDLE].mean())
    middle = (found.left + found.right) / 2
    shape = RowShape(middle, width, top, bottom, there, bare, (False, False), 0.0, 0.0, 0.0, 0.0)
    off, index = PHASES - middle, np.arange(len(there))[:, None, None]

    def explained(shape: RowShape, near: Flags) -> float:
        height = HEIGHTS[near][:, None]
        drawn = drawn_share(shape, index, off, height, fold.pitch_px, fold.height_px, _SOFT_PX)
        return _alike(found.signal[usual][:, near], drawn[usual])

    ends = (np.abs(HEIGHTS - top.mean()) < _AROUND, np.abs(HEIGHTS - bottom.mean()) < _AROUND)
    round_top, round_bottom = (
        explained(replace(shape, rounded=way), near) > explained(shape, near)
        for way, near in zip(((True, False), (False, True)), ends, strict=True)
    )
    shape = replace(shape, rounded=(round_top, round_bottom))
    near = (top.mean() - _AROUND < HEIGHTS) & (bottom.mean() + _AROUND > HEIGHTS)
    return replace(
        shape,
        explained=explained(shape, near),
        explained_before=_alike(found.signal[usual][:, near], fold.share[usual][:, near]),
        plated=float(np.median(plated[known])),
        side=float(more[usual].mean()) / max(float(more[usual].std()) / usual.sum() ** 0.5, 1e-6),
    )


def drawn_share(
    shape: RowShape,
    index: NDArray[np.intp],
    off: FloatArray,
    height: FloatArray,
    pitch_px: float,
    height_px: float,
    soft_px: float = 1.0,
) -> FloatArray:
    """Plated share, 0..1, at places of a row.

    Args:
        shape: of the row's contacts.
        index: of the contact, of a shape that fits the next two.
        off: pitches from a contact's middle.
        height: see ``row_fold``.
        pitch_px: of the row.
        height_px: of the row's strip.
        soft_px: over which edges blend.
    """
    half = shape.width / 2 * pitch_px
    aside = np.abs((off + 0.5) % 1 - 0.5) * pitch_px
    left = half - aside
    for rounded, within in zip(shape.rounded, (height - shape.top[index], shape.bottom[index] - height), strict=True):
        depth = within * height_px
        if rounded:
            arc = half - np.hypot(aside, np.maximum(half - depth, 0))
            left = np.minimum(left, arc)
        else:
            left = np.minimum(left, depth)
    return np.asarray(np.clip(left / soft_px + 0.5, 0, 1) * shape.there[index])


def _cores(left: float, right: float) -> tuple[Flags, Flags]:
    """Phases (phases,) that are surely contact, and surely gap."""
    width, off = right - left, np.abs((PHASES - (left + right) / 2 + 0.5) % 1 - 0.5)
    step = 0.6 / len(PHASES)
    return off < max(_CORE * width, step), 0.5 - off < max(_CORE * (1 - width), step)


def _half_way(profile: FloatArray, middle: float) -> tuple[float, float] | None:
    """Where a profile (phases,), 1 on contacts and 0 in gaps, is one half to either side of a phase."""
    phases = np.concatenate([PHASES - 1, PHASES, PHASES + 1])
    around = np.tile(profile, 3)
    start = int(np.argmin(np.abs(phases - middle)))
    edges = [_crossing(phases[start::step], around[start::step], 0.5) for step in (-1, 1)]
    return (edges[0], edges[1]) if np.isfinite(edges).all() else None


def _crossing(at: FloatArray, values: FloatArray, level: float) -> float:
    """Where values first fall below a level; NaN if they never do, or start below it."""
    below = np.flatnonzero(values < level)
    if not len(below) or below[0] == 0:
        return np.nan
    i = below[0]
    part = (values[i - 1] - level) / (values[i - 1] - values[i])
    return float(at[i - 1] + part * (at[i] - at[i - 1]))


def _ends(strength: GreyCube, usual: Flags) -> list[FloatArray | None]:
    """Heights (k,) at which a strength (k, heights) has fallen to half, towards 0 and 1, on a line along the row."""
    which = np.flatnonzero(usual)
    parts = np.array_split(which, max(1, min(_MOST_PARTS, len(which) // _PART)))
    found = np.array([_half_heights(np.median(strength[part], axis=0)) for part in parts])
    middles = np.array([part.mean() for part in parts])
    return [_line(middles, ends, len(usual)) for ends in found.T]


def _half_heights(strength: NDArray[np.float32]) -> tuple[float, float]:
    smooth = cv2.GaussianBlur(strength[None], (3, 1), 0)[0].astype(np.float64)
    half = 0.5 * float(np.median(smooth[(HEIGHTS > 0.3) & (HEIGHTS < 0.7)]))
    start = int(np.argmin(np.abs(HEIGHTS - 0.5)))
    return _crossing(HEIGHTS[start::-1], smooth[start::-1], half), _crossing(HEIGHTS[start:], smooth[start:], half)


def _line(at: FloatArray, values: FloatArray, count: int) -> FloatArray | None:
    """A line through points, not moved by single ones (Theil and Sen), at 0 to count - 1; None without a point."""
    known = np.isfinite(values)
    at, values = at[known], values[known]
    if not len(at):
        return None
    one, other = np.triu_indices(len(at), 1)
    slope = float(np.median((values[other] - values[one]) / (at[other] - at[one]))) if len(one) else 0.0
    return np.asarray(np.median(values - slope * at) + slope * np.arange(count))


def _either(photo: FloatArray | None, network: FloatArray | None) -> FloatArray | None:
    """The end between what photo and network say; the network's if they are far apart."""
    if photo is None or network is None:
        return photo if network is None else network
    if abs(float(photo.mean() - network.mean())) > _ENDS_APART:
        return network
    return np.asarray(_OWN_END * photo + (1 - _OWN_END) * network)


def _alike(signal: GreyCube, share: FloatArray | GreyCube) -> float:
    """Squared correlation of the two, (k, heights, phases), less the mean of each along the row."""
    a, b = (v - v.mean(2, keepdims=True) for v in (signal, share))
    both, one, other = float((a * b).sum()), float((a * a).sum()), float((b * b).sum())
    return both**2 / max(one * other, 1e-12) if both > 0 else 0.0
