"""Rows of alike contacts: pieces of about one size and direction, side by side at an even pitch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray

LEAST_MEMBERS = 3
_ALIKE = 0.35  # lengths and widths agree within this share
_TURNED = np.cos(np.radians(12.0))
_OFFSET = 0.35  # neighbours are shifted along their length by no more than this share of it
_NEAREST, _FURTHEST = 1.1, 3.6  # centre to centre, in widths
_LEAST_FILL = 0.6  # of its rectangle: contacts fill it, frames and traces do not
_ASPECT = 1.35  # below this a piece has no direction: it is a pad, not a contact
_KEY_GAP = 9.0  # within a row, a missing stretch (key, worn contacts) of up to this many widths is bridged
# a key divides a row by up to 7 pitches (288-contact modules, from memory of JEDEC MO-309); contacts beside it may
# have run together
_LONGEST_KEY = 9.5  # pitches
_SAME_PITCH, _SAME_LENGTH = 0.08, 0.15  # two stretches of one row agree within these shares, perspective included
_IN_LINE = 0.25  # and lie on one line within this share of a contact's length
_AT_ONCE = 32  # pieces that are compared with all others at a time


@dataclass(frozen=True, eq=False)
class PlatedPiece:
    """One connected piece of plating, measured.

    Attributes:
        number: label.
        centre_px: (2,) in the photo.
        centre: (2,) in mm, or in px without scale.
        box_px: (4, 2) the rectangle in the photo with the same middle, direction and spread.
        length: its longer side, in the unit of ``centre``.
        width: its shorter side, likewise.
        direction: (2,) unit vector along its length, in the axes of ``centre``.
        fill: area ÷ area of the rectangle with the same variances; 1 for a whole rectangle.
    """

    number: int
    centre_px: FloatArray
    centre: FloatArray
    box_px: FloatArray
    length: float
    width: float
    direction: FloatArray
    fill: float


def find_rows(pieces: list[PlatedPiece], *, with_scale: bool) -> tuple[list[float | None], list[list[int]]]:
    """Rows among pieces.

    Args:
        pieces: all pieces of a photo.
        with_scale: whether lengths are in mm, so that specks can be left out.

    Returns:
        The pitch of each row (None if it is not even), and the indices of its members in order along the row.
    """
    eligible = [
        i
        for i, p in enumerate(pieces)
        if p.length >= _ASPECT * p.width and p.fill > _LEAST_FILL and (not with_scale or p.length >= 1.0)
    ]
    links = _links(pieces, eligible)
    found = [_in_order(pieces, group) for group in _groups(eligible, links) if len(group) >= LEAST_MEMBERS]
    rows = _joined_over_keys(pieces, found)
    return [_pitch([pieces[i] for i in row]) for row in rows], rows


def chosen_row(pieces: list[PlatedPiece], rows: list[list[int]]) -> list[int | None]:
    """The row of each piece: its own, or the row in whose band it lies (worn or merged contacts)."""
    out: list[int | None] = [None] * len(pieces)
    for number, row in enumerate(rows):
        for i in row:
            out[i] = number
    bands = [_Band.of([pieces[i] for i in row]) for row in rows]
    for i, piece in enumerate(pieces):
        if out[i] is None:
            out[i] = next((n for n, band in enumerate(bands) if band.holds(piece)), None)
    return out


def _links(pieces: list[PlatedPiece], eligible: list[int]) -> list[tuple[int, int]]:
    if len(eligible) < 2:
        return []
    centre = np.array([pieces[i].centre for i in eligible])
    length = np.array([pieces[i].length for i in eligible])
    width = np.array([pieces[i].width for i in eligible])
    direction = np.array([pieces[i].direction for i in eligible])
    reach = np.hypot(_KEY_GAP * width, _OFFSET * length)
    found: list[tuple[int, int]] = []
    for start in range(0, len(eligible), _AT_ONCE):
        some = slice(start, start + _AT_ONCE)
        low, high = ((centre[some] + side * reach[some, None]) for side in (-1, 1))
        # pieces are in the photo's order, so that only few of the others lie within reach of some
        others = np.flatnonzero(((centre >= low.min(axis=0)) & (centre <= high.max(axis=0))).all(axis=1))
        step = centre[others] - centre[some, None]
        own_length, own_width, (x, y) = length[some, None], width[some, None], direction[some].T[..., None]
        along = np.abs(step[..., 0] * x + step[..., 1] * y)
        across = np.abs(step[..., 1] * x - step[..., 0] * y)
        close = (across >= _NEAREST * own_width) & (across <= _KEY_GAP * own_width) & (along <= _OFFSET * own_length)
        own, other = np.nonzero(close)
        i, j = start + own, others[other]
        close[own, other] = (
            (np.abs(length[j] / length[i] - 1) < _ALIKE)
            & (np.abs(width[j] / width[i] - 1) < _ALIKE)
            & (np.abs((direction[i] * direction[j]).sum(axis=1)) > _TURNED)
        )
        near = close & (across <= _FURTHEST * own_width)
        found += [(eligible[start + a], eligible[others[b]]) for a, b in np.argwhere(near).tolist()]
        for a, b in np.argwhere(close & ~near).tolist():
            # a wide gap is bridged only where nothing nearer continues the row on that side
            if not np.any(step[a, near[a]] @ step[a, b] > 0):
                found.append((eligible[start + a], eligible[others[b]]))
    return found


def _groups(items: list[int], links: list[tuple[int, int]]) -> list[list[int]]:
    parent = {i: i for i in items}

    def root(i: int) -> int:
        while parent[i] != i:
            parent[i] = parent[parent[i]]
            i = parent[i]
        return i

    for a, b in links:
        parent[root(a)] = root(b)
    groups: dict[int, list[int]] = {}
    for i in items:
        groups.setdefault(root(i), []).append(i)
    return list(groups.values())


def _in_order(pieces: list[PlatedPiece], group: list[int]) -> list[int]:
    along = _along([pieces[i] for i in group])
    return [group[i] for i in np.argsort(along, kind="stable")]


def _joined_over_keys(pieces: list[PlatedPiece], rows: list[list[int]]) -> list[list[int]]:
    """The rows, with stretches of one row on either side of a wide key joined."""
    pitches = [_pitch([pieces[i] for i in row]) for row in rows]
    joins = [
        (a, b)
        for a in range(len(rows))
        for b in range(a)
        if _continues([pieces[i] for i in rows[a]], pitches[a], [pieces[i] for i in rows[b]], pitches[b])
    ]
    together = _groups(list(range(len(rows))), joins)
    return [_in_order(pieces, [i for row in group for i in rows[row]]) for group in together]


def _continues(
    one: list[PlatedPiece], pitch: float | None, other: list[PlatedPiece], other_pitch: float | None
) -> bool:
    """Whether two even stretches lie in one line, with no more than a key between them."""
    if pitch is None or other_pitch is None or abs(other_pitch / pitch - 1) > _SAME_PITCH:
        return False
    length, other_length = (float(np.median([p.length for p in row])) for row in (one, other))
    if abs(other_length / length - 1) > _SAME_LENGTH:
        return False
    ends = [(a, b) for a in (one[0], one[-1]) for b in (other[0], other[-1])]
    near, far = min(ends, key=lambda e: float(np.hypot(*(e[0].centre - e[1].centre))))
    gap = far.centre - near.centre
    if not pitch < float(np.hypot(*gap)) <= _LONGEST_KEY * pitch:
        return False
    for row in (one, other):
        line = row[-1].centre - row[0].centre
        across = abs(line[0] * gap[1] - line[1] * gap[0]) / float(np.hypot(*line))
        if across > _IN_LINE * length:
            return False
    return True


def _along(row: list[PlatedPiece]) -> FloatArray:
    """Places (n,) of a row's centres along the line that fits them best."""
    centre = np.array([p.centre for p in row])
    _, _, axes = np.linalg.svd(centre - centre.mean(axis=0), full_matrices=False)
    return np.asarray((centre - centre.mean(axis=0)) @ axes[0])


def _pitch(row: list[PlatedPiece]) -> float | None:
    """Mean pitch over whole steps, or None if the centres do not fall on an even grid.

    Only the part of a step along the row counts: a shorter contact, level with the others at one end, sits off the
    line.
    """
    step = np.abs(np.diff(_along(row)))
    guess = float(np.median(step[step <= 1.5 * np.median(step)]))
    if guess <= 0:
        return None
    whole = np.round(step / guess)
    even = (whole >= 1) & (np.abs(step / guess - whole) < 0.2)
    if even.mean() < 0.7:
        return None
    return float(step[even].sum() / whole[even].sum())


@dataclass(frozen=True, eq=False)
class _Band:
    """The strip that a row's contacts span, with five widths to spare at either end."""

    start: FloatArray
    axis: FloatArray
    span: float
    spare: float
    half_length: float

    @staticmethod
    def of(row: list[PlatedPiece]) -> _Band:
        first, last = row[0].centre, row[-1].centre
        span = float(np.hypot(*(last - first)))
        return _Band(
            first,
            (last - first) / max(span, 1e-9),
            span,
            5 * float(np.median([p.width for p in row])),
            0.5 * float(np.median([p.length for p in row])),
        )

    def holds(self, piece: PlatedPiece) -> bool:
        x, y = piece.centre - self.start
        along, across = x * self.axis[0] + y * self.axis[1], y * self.axis[0] - x * self.axis[1]
        return bool(-self.spare <= along <= self.span + self.spare and abs(across) <= self.half_length)
