"""Readings of rows of contacts: keys, missing contacts, and the published outline that each row fits.

Rows are read in the photo's own pixels, so that no scale enters: steps between neighbours are compared with a pitch
that may change evenly along the row, as under perspective.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from calibration.families import FamilyMatch, match_families, one_pitch
from calibration.from_contacts import ContactLine
from calibration.notices import Notice, NoticeDefinition, Notices
from grader.coverage import Coverage
from grader.regions.comb import follow
from grader.regions.find import PieceRow, rows_above
from grader.regions.model import Region, Regions
from grader.regions.strips import strip_rows

_LEAST = 6  # contacts that a row must have to be read
_ALIKE = 0.35  # contacts that ran together, or were cut in two, are left out beyond this share
_SINGLE = 0.25  # a step is one pitch within this share
_WHOLE = 0.25  # a wider gap is a whole number of pitches within this share of one pitch
_BENT = 12  # steps from which a change of pitch along the row can be detected
_LONGEST_GAP = 8.5  # pitches; beyond it two rows, or a stretch that never had contacts, are as likely
_MERGED_AT_END = 6  # contacts run together that are counted beyond the first and last found alone
_LEAST_SEEN = 0.3  # share of a contact's middle line that must be plated for it to count
_DISAGREE = 1.25  # factor between the scales of two rows of one photo that height and tilt may cause
# shares above which separate contacts are sought where none are recognised at half; how much shorter they then look
_ABOVE, _SHORTENED = (170, 200), 1.35
_LONG = 18
_NOTCH = 0.84  # from the row's middle to where a key's slot is looked for, in half contact lengths

notice = Notices(
    NoticeDefinition(
        "contacts-missing",
        "{missing} contacts of a row of {total} were not found: worn off, never plated, under dirt or in glare.",
        "Look at the overlay. If they are there, clean them or turn the board out of the glare and take the photo "
        "again: their gold is not in the figures.",
    )
)


@dataclass(frozen=True, eq=False)
class RowReading:
    """One row as read.

    Attributes:
        row: its index in ``Regions.rows``; None if the contacts run together, so that no row was found there.
        centres_px: of its contacts in order, float64 (n, 2).
        alone: whether each was found as a separate piece (n,); the others run together with a neighbour or are dim,
            and their centres are where the row's pitch or its pattern in the picture puts them.
        steps: between neighbours, in pitches of their place in the row, float64 (n - 1,).
        matches: published outlines that the row fits, those with the fewest missing contacts first.
        missing: contacts that are absent where the others show that they should be.
        keys: steps that lead over a key.
    """

    row: int | None
    centres_px: FloatArray
    alone: BoolArray
    steps: FloatArray
    matches: tuple[FamilyMatch, ...]
    missing: int
    keys: tuple[int, ...]

    @property
    def count(self) -> int:
        """Contacts seen, alone or run together."""
        return len(self.centres_px)

    @property
    def family(self) -> str | None:
        """Titles of the outlines that it fits, joined with "or"; None if it fits no outline."""
        return " or ".join(m.family.title for m in self.matches) or None

    @property
    def pitch_mm(self) -> float | None:
        """The published pitch; None if it is unknown or several are possible."""
        return one_pitch(self.matches)


def read_contact_rows(
    regions: Regions, coverage: Coverage, rgb: NDArray[np.uint8] | None = None
) -> tuple[RowReading, ...]:
    """Readings of the rows that are even and long enough to be read.

    Args:
        regions: of the photo.
        coverage: of the photo; contacts that ran together are counted by it, and a key is a notch in its boards.
        rgb: the photo, uint8 (height, width, 3), for contacts that the coverage lacks or that ran together; with
            None, only the coverage is used, and rows that no key divides are not recognised.
    """
    members: dict[int, list[Region]] = {}
    for region in regions.regions:
        if region.row is not None:
            members.setdefault(region.row, []).append(region)
    found = [
        (number, PieceRow(np.array([m.box_px for m in of_row]), regions.rows[number].at_edge))
        for number, of_row in sorted(members.items())
    ]
    readings = [r for number, row in found if (r := _read(number, row, coverage, rgb)) is not None]
    if rgb is None or any(r.matches or _stands_apart(r) for r in readings):
        return tuple(readings)
    for share in _ABOVE:
        apart = [_read(None, row, coverage, rgb, longer=_SHORTENED) for row in rows_above(coverage, share)]
        known = [_placed(r, regions) for r in apart if r is not None and r.matches]
        if known:
            rows = {r.row for r in known} - {None}
            return (*(r for r in readings if r.row not in rows), *known)
    merged = [
        _read(None, row, coverage, rgb, apart=apart) for row in strip_rows(coverage, rgb) for apart in (True, False)
    ]
    known = _best([_placed(r, regions) for r in merged if r is not None and r.matches])
    rows = {r.row for r in known} - {None}
    return (*(r for r in readings if r.row not in rows), *known)


def _best(readings: list[RowReading]) -> list[RowReading]:
    """Of several readings of one row, from strips of several widths, the reading that lacks the fewest contacts."""
    best: list[RowReading] = []
    for reading in sorted(readings, key=lambda r: r.missing):
        middle = reading.centres_px.mean(axis=0)
        if all(_far(other, middle) for other in best):
            best.append(reading)
    return best


def _far(reading: RowReading, place: FloatArray) -> bool:
    """Whether a place lies farther from a row's middle than a third of the row's length."""
    first, last = reading.centres_px[0], reading.centres_px[-1]
    return float(np.hypot(*(place - (first + last) / 2))) > float(np.hypot(*(last - first))) / 3


def _stands_apart(reading: RowReading) -> bool:
    """Whether a long row's contacts were already found separately: a closer look would not change it."""
    return int(reading.alone.sum()) >= max(_LONG, 0.9 * reading.count)


def _placed(reading: RowReading, regions: Regions) -> RowReading:
    """A reading with the row of the regions in which most of its contacts lie."""
    size = np.array(regions.labels.shape[::-1])
    x, y = np.clip(np.round(reading.centres_px).astype(int), 0, size - 1).T
    of_label = {r.number: r.row for r in regions.regions}
    at = [of_label.get(int(n)) for n in regions.labels[y, x]]
    most = max(set(at), key=at.count)
    return replace(reading, row=most)


def contact_line(readings: tuple[RowReading, ...]) -> ContactLine | None:
    """The recognised row that gives the scale best, among rows whose outlines all have one pitch.

    None if there is no such row, or if another row gives a very different scale: then one of them is not what it
    seems.
    """
    lines = sorted((_line(r) for r in readings if r.pitch_mm is not None), key=lambda line: line.relative_sd())
    if not lines:
        return None
    scales = [line.px_per_mm() for line in lines]
    return lines[0] if max(scales) <= _DISAGREE * min(scales) else None


def _line(reading: RowReading) -> ContactLine:
    match = reading.matches[0]
    return ContactLine(
        reading.family or "",
        match.family.pitch_mm,
        match.places[reading.alone],
        reading.centres_px[reading.alone],
        total=sum(match.layout),
    )


def missing_notices(readings: tuple[RowReading, ...], known: ContactLine | None = None) -> tuple[Notice, ...]:
    """One warning for each row that lacks contacts.

    Args:
        readings: of the rows.
        known: the row that gave the scale, if any: a later look must not silently find fewer contacts.
    """
    lacking = [(r.missing, r.count + r.missing) for r in readings if r.missing]
    if not lacking and known is not None and readings:
        most = max(r.count for r in readings)
        lacking = [(known.total - most, known.total)] if most < known.total else []
    return tuple(notice("contacts-missing", missing=missing, total=total) for missing, total in lacking)


def _read(
    number: int | None,
    row: PieceRow,
    coverage: Coverage,
    rgb: NDArray[np.uint8] | None,
    *,
    longer: float = 1.0,
    apart: bool = False,
) -> RowReading | None:
    boxes = _alike(row.boxes_px)
    if len(boxes) < _LEAST:
        return None
    found = _in_order(boxes.mean(axis=1))
    pitch = _pitch_along(found[1])
    if pitch is None:
        return None
    half = np.asarray(np.median(_half_lengths(boxes), axis=0))
    local = float(np.median(np.polyval(pitch, found[1])))
    aspect = 2 * float(np.hypot(*half)) / local
    if apart:  # a strip's contacts are separated already, and plating beyond them is not a contact
        centres, alone, steps = found[0], np.ones(len(boxes), np.bool_), _steps(found[1], pitch)
    else:
        centres, alone, steps = _with_merged(*found, pitch, half, coverage.share)
    matches = match_families(steps, aspect, longer=longer) if np.all(steps > 1 - _SINGLE) else ()
    unplated = 0
    if not matches and rgb is not None:
        comb = follow(rgb, *found, local, half)
        bent = _pitch_along(comb.along)
        if bent is not None:
            followed = _steps(comb.along, bent)
            matches = match_families(followed, aspect, longer=longer)
        if matches:
            centres, alone, steps = comb.centres_px, comb.found, followed
            unplated = sum(not _is_plated(c, half, coverage.share) for c in centres[~alone])
    if np.any(steps < 1 - _SINGLE):
        return None
    wide = [int(i) for i in np.flatnonzero(steps > 1 + _SINGLE)]
    if matches:
        keys = tuple(i for i in wide if _over_key(matches[0], i))
        return RowReading(number, centres, alone, steps, matches, matches[0].missing + unplated, keys)
    missing, keys_found = _gaps(wide, steps, [_is_notch(centres[i : i + 2], half, coverage.board) for i in wide])
    return RowReading(number, centres, alone, steps, (), missing, keys_found)


def _gaps(wide: list[int], steps: FloatArray, open_slot: list[bool | None]) -> tuple[int, tuple[int, ...]]:
    """Missing contacts and keys among the wide steps of a row that fits no outline.

    Where the board shows no notch, the widest step may lead over a key: it counts neither as a key nor as missing.

    Args:
        wide: the steps that are longer than a pitch.
        steps: all steps, in pitches.
        open_slot: for each wide step, whether a notch was seen there.
    """
    keys = tuple(i for i, is_open in zip(wide, open_slot, strict=True) if is_open)
    others = sorted((i for i in wide if i not in keys), key=lambda i: -steps[i])
    if not keys:
        others = others[1:]
    gone = sum(
        round(steps[i]) - 1 for i in others if steps[i] < _LONGEST_GAP and abs(steps[i] - round(steps[i])) < _WHOLE
    )
    return gone, keys


def _with_merged(
    centres: FloatArray, along: FloatArray, pitch: FloatArray, half: FloatArray, share: NDArray[np.uint8]
) -> tuple[FloatArray, BoolArray, FloatArray]:
    """Contacts found alone and, at places given by the pitch that are plated, those that ran together.

    Args:
        centres: of the contacts found alone, in order (n, 2).
        along: their places on the row's line (n,), px.
        pitch: as ``_pitch_along`` gives it.
        half: of a contact's length, px (2,).
        share: of each pixel that is plated, 255 = wholly.

    Returns:
        Centres (m, 2), whether each was found alone (m,), steps between them in pitches (m - 1,).
    """
    axis = (centres[-1] - centres[0]) / float(np.hypot(*(centres[-1] - centres[0])))

    def outwards(place: float, point: FloatArray, side: int) -> list[tuple[float, FloatArray]]:
        more: list[tuple[float, FloatArray]] = []
        while len(more) < _MERGED_AT_END:
            step = side * float(np.polyval(pitch, place))
            place, point = place + step, point + step * axis
            if not _is_plated(point, half, share):
                break
            more.append((place, point))
        return more

    line: list[tuple[float, FloatArray, bool]] = []
    for i, (place, point) in enumerate(zip(along, centres, strict=True)):
        if i:
            gap = place - along[i - 1]
            whole = round(gap / float(np.polyval(pitch, (place + along[i - 1]) / 2)))
            for k in range(1, whole):
                between = centres[i - 1] + (point - centres[i - 1]) * k / whole
                if _is_plated(between, half, share):
                    line.append((float(along[i - 1] + gap * k / whole), between, False))
        line.append((float(place), point, True))
    before = [(p, q, False) for p, q in reversed(outwards(line[0][0], line[0][1], -1))]
    after = [(p, q, False) for p, q in outwards(line[-1][0], line[-1][1], 1)]
    line = [*before, *line, *after]
    places = np.array([p for p, _, _ in line])
    return np.array([q for _, q, _ in line]), np.array([a for _, _, a in line]), _steps(places, pitch)


def _steps(along: FloatArray, pitch: FloatArray) -> FloatArray:
    """Steps between neighbours (n - 1,) in pitches of their place in the row."""
    return np.asarray(np.diff(along) / np.polyval(pitch, (along[:-1] + along[1:]) / 2))


def _is_plated(centre: FloatArray, half: FloatArray, share: NDArray[np.uint8]) -> bool:
    """Whether a contact of the row's length, perhaps worn, lies at a place: enough of its middle is plated."""
    spots = np.round(centre + np.linspace(-0.8, 0.8, 9)[:, None] * half).astype(int)
    inside = np.all((spots >= 0) & (spots < np.array(share.shape[::-1])), axis=1)
    return bool(inside.all() and share[spots[:, 1], spots[:, 0]].mean() > 255 * _LEAST_SEEN)


def _in_order(centres: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Centres (n, 2) sorted along the line that fits them, and their places on it (n,)."""
    middle = centres.mean(axis=0)
    _, _, axes = np.linalg.svd(centres - middle, full_matrices=False)
    along = (centres - middle) @ axes[0]
    order = np.argsort(along, kind="stable")
    return np.asarray(centres[order]), np.asarray(along[order])


def _pitch_along(along: FloatArray) -> FloatArray | None:
    """Pitch as a polynomial of the place along the row (highest power first); None for a row that is not even."""
    steps = np.diff(along)
    typical = float(np.median(steps[steps <= 1.5 * np.median(steps)]))
    middles = (along[:-1] + along[1:]) / 2
    single = np.abs(steps / typical - 1) < _SINGLE
    if single.sum() < max(_LEAST - 1, 0.7 * len(steps)):
        return None
    degree = 1 if single.sum() >= _BENT else 0
    pitch = np.polyfit(middles[single], steps[single], degree)
    single = np.abs(steps / np.polyval(pitch, middles) - 1) < _SINGLE
    return np.asarray(np.polyfit(middles[single], steps[single], degree))


def _alike(boxes: FloatArray) -> FloatArray:
    """The boxes (n, 4, 2) without those of contacts that ran together or were cut in two."""
    sides = np.sort(np.hypot(*(boxes[:, [1, 3]] - boxes[:, :1]).transpose(2, 0, 1)), axis=1)
    return np.asarray(boxes[np.all(np.abs(sides / np.median(sides, axis=0) - 1) < _ALIKE, axis=1)])


def _half_lengths(boxes: FloatArray) -> FloatArray:
    """Half of each contact's longer axis as a step in px (n, 2), all to one side of the row."""
    first, second = boxes[:, 1] - boxes[:, 0], boxes[:, 3] - boxes[:, 0]
    longer = np.where((np.hypot(*first.T) > np.hypot(*second.T))[:, None], first, second) / 2
    return np.asarray(longer * np.where(longer @ longer[0] < 0, -1.0, 1.0)[:, None])


def _over_key(match: FamilyMatch, step: int) -> bool:
    """Whether a step of the row crosses one of the layout's keys."""
    places = match.family.places(match.layout)
    after = places[np.cumsum(match.layout)[:-1]]
    low, high = sorted((match.places[step], match.places[step + 1]))
    return bool(np.any((after > low) & (after <= high)))


def _is_notch(beside: FloatArray, half: FloatArray, board: BoolArray) -> bool | None:
    """Whether the board is cut away between two contacts; None if it is not known to lie under them.

    Args:
        beside: centres of the contacts to either side (2, 2).
        half: of a contact's length, px (2,).
        board: where boards are.
    """

    def holds(spots: FloatArray) -> BoolArray:
        at = np.round(spots).astype(int)
        inside = np.all((at >= 0) & (at < np.array(board.shape[::-1])), axis=1)
        at[~inside] = 0
        return np.asarray(inside & board[at[:, 1], at[:, 0]])

    if not holds(beside).all():
        return None
    return not holds(beside.mean(axis=0) + np.array([[-_NOTCH], [0.0], [_NOTCH]]) * half).all()
