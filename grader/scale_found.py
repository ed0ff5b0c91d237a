"""The scale of a photo: what was chosen, looked for before the search for plating, after it, and where plating is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.digits import as_given
from calibration.errors import RefusedError, ScaleError, UsageError
from calibration.face_height import face_height
from calibration.from_coin import rise_over_coin, scale_from_coin
from calibration.from_contacts import ContactLine, contradiction, scale_from_contacts, told_by_contacts
from calibration.from_target import find_own_target, scale_from_target
from calibration.known import scale_from_length, scale_from_rectangle
from calibration.notices import Notice, notice
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.photo import Photo
from grader.regions import ContactRow, Regions, RowReading, contact_line, missing_notices, with_pile
from grader.request import Request
from grader.scale_choice import Automatic, ByCoin, ByLength, ByPitch, ByRectangle, ByTarget

_WHERE_SAMPLES = 400
_LEAST_CONTACTS = 6


@dataclass(frozen=True)
class FoundScale:
    """What is known of the scale.

    Attributes:
        scale: None if there is none.
        refused: why there is none, where one was asked for.
        contacts: that gave it, where they were recognised.
        notices: what the user should know of it.
    """

    scale: Scale | None
    refused: RefusedError | None = None
    contacts: ContactLine | None = None
    notices: tuple[Notice, ...] = ()


def scale_before_search(photo: Photo, wanted: Request) -> FoundScale:
    """The scale, where the photo and its marks give it without a look at the plating.

    Raises:
        UsageError: the request names points outside the photo, impossible sizes and the like.
    """
    try:
        scale = _chosen(photo, wanted)
    except RefusedError as error:
        return FoundScale(None, error)
    if scale is None and isinstance(wanted.scale, Automatic):
        missing = notice("no-scale")
        return FoundScale(None, ScaleError(missing.code, missing.message, missing.advice))
    return FoundScale(scale)


def scale_from_search(
    photo: Photo, wanted: Request, before: FoundScale, regions: Regions, readings: tuple[RowReading, ...]
) -> FoundScale:
    """The scale, where rows of contacts give it: by their pitch, or recognised where nothing else gave one.

    Args:
        photo: that was searched.
        wanted: how.
        before: the scale that it was searched at.
        regions: found in it.
        readings: of its rows.

    Raises:
        UsageError: a pitch that cannot be.
    """
    if isinstance(wanted.scale, ByPitch):
        try:
            return FoundScale(_by_pitch(photo, wanted.scale.pitch_mm, regions))
        except ScaleError as error:
            return FoundScale(None, error)
    line = contact_line(readings)
    if line is not None and before.refused is not None and before.refused.code == "no-scale":
        return FoundScale(_by_contacts(photo, line, None), contacts=line)
    return before


def scale_at_plating(
    photo: Photo,
    wanted: Request,
    found: FoundScale,
    coverage: Coverage,
    regions: Regions,
    readings: tuple[RowReading, ...],
) -> FoundScale:
    """The scale at last: its tilt judged where plating was found, with what contacts say of it."""
    scale, line = found.scale, found.contacts or contact_line(readings)
    told: tuple[Notice, ...] = ()
    if found.contacts is not None:
        scale, told = _by_contacts(photo, found.contacts, coverage), (told_by_contacts(found.contacts),)
    elif line is not None and scale is not None:
        against = contradiction(line, scale)
        told = (against,) if against is not None else ()
    gave_scale = line if scale is not None and scale.method == "pitch" else None
    told = (*told, *missing_notices(readings, gave_scale))
    if scale is not None:
        scale = with_pile(_where_it_counts(photo, wanted, scale, coverage), regions, photo)
    return replace(found, scale=scale, notices=told)


def _chosen(photo: Photo, wanted: Request) -> Scale | None:
    choice, view = wanted.scale, photo.view
    height = face_height(wanted.board_thickness_mm)
    match choice:
        case ByTarget():
            return scale_from_target(photo.rgb, choice.target, view, face_height_mm=height)
        case ByLength():
            return _by_length(photo, choice, None)
        case ByRectangle():
            return scale_from_rectangle(view, choice.sides_mm, choice.corners_px, side_sd_mm=choice.side_sd_mm)
        case ByCoin():
            return _by_coin(photo, wanted, choice, None)
        case Automatic():
            return find_own_target(photo.rgb, view, face_height_mm=height, print_factor=wanted.print_factor)
    return None


def _where_it_counts(photo: Photo, wanted: Request, scale: Scale, coverage: Coverage) -> Scale:
    """The scale again, where one mark gave it: its tilt now judged at the places where plating was found."""
    match wanted.scale:
        case ByLength():
            return _by_length(photo, wanted.scale, _plated_places(coverage))
        case ByCoin():
            return _by_coin(photo, wanted, wanted.scale, _plated_places(coverage))
    return scale


def _by_length(photo: Photo, choice: ByLength, where_px: NDArray[np.float64] | None) -> Scale:
    return scale_from_length(
        photo.view,
        choice.length_mm,
        choice.start_px,
        choice.end_px,
        length_sd_mm=choice.length_sd_mm,
        where_px=where_px,
    )


def _by_coin(photo: Photo, wanted: Request, choice: ByCoin, where_px: NDArray[np.float64] | None) -> Scale:
    return scale_from_coin(
        photo.view,
        choice.diameter_mm,
        choice.rim_px,
        diameter_sd_mm=choice.diameter_sd_mm,
        rise_mm=rise_over_coin(face_height(wanted.board_thickness_mm), choice.thickness_mm),
        where_px=where_px,
    )


def _by_contacts(photo: Photo, line: ContactLine, coverage: Coverage | None) -> Scale:
    """Scale from recognised contacts, its tilt judged where plating was found once that is known."""
    where = _plated_places(coverage) if coverage is not None else None
    return scale_from_contacts(photo.view, line, where_px=where)


def _plated_places(coverage: Coverage) -> NDArray[np.float64] | None:
    """Some plated pixels (n, 2), None if there are none."""
    ys, xs = np.nonzero(coverage.share > 127)
    if not len(ys):
        return None
    some = np.linspace(0, len(ys) - 1, min(_WHERE_SAMPLES, len(ys))).astype(int)
    return np.column_stack([xs[some], ys[some]]).astype(np.float64)


def _by_pitch(photo: Photo, pitch_mm: float, regions: Regions) -> Scale:
    """Scale from the longest even row, found without scale: its ends are so many pitches apart.

    They need not be a whole number of them: a key may part a row by any step.
    """
    if not math.isfinite(pitch_mm) or pitch_mm <= 0:
        raise UsageError(
            "pitch-invalid", f"A pitch of {as_given(pitch_mm)} mm is not possible.", "Give a pitch above 0 mm."
        )
    even = [r for r in regions.rows if r.pitch is not None and r.count >= _LEAST_CONTACTS]
    if not even:
        raise ScaleError(
            "no-even-row",
            f"No row of at least {_LEAST_CONTACTS} evenly spaced contacts was found to take the pitch from.",
            "Move closer and take the photo again in focus, or give a known length.",
        )
    row: ContactRow = max(even, key=lambda r: r.count)
    (x0, y0), (x1, y1) = row.ends_px
    steps = math.hypot(x1 - x0, y1 - y0) / (row.pitch or 1.0)
    return replace(scale_from_length(photo.view, steps * pitch_mm, *row.ends_px), method="pitch")
