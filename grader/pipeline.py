"""The way through the house for one photo: scale, coverage, regions, area, gold."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.errors import RefusedError, ScaleError, UsageError
from calibration.face_height import face_height
from calibration.from_coin import rise_over_coin, scale_from_coin
from calibration.from_contacts import ContactLine, contradiction, scale_from_contacts, told_by_contacts
from calibration.from_target import find_own_target, scale_from_target
from calibration.inputs import Distribution
from calibration.known import scale_from_length, scale_from_rectangle
from calibration.notices import Notice, notice
from calibration.scale import Scale
from calibration.target import TargetDescription
from calibration.thickness import GoldProperties
from grader.area import AreaEstimate, estimate_area
from grader.corrections import NO_CORRECTIONS, Corrections
from grader.coverage import Coverage, Segmenter
from grader.coverage.choose import default_segmenter
from grader.gold import GoldEstimate, gold_mass
from grader.model import Finish
from grader.photo import Photo
from grader.regions import Regions, Row, RowReading, contact_line, find_regions, missing_notices, read_rows, with_pile

Point = tuple[float, float]
Step = Literal["scale", "coverage", "regions", "gold"]
Progress = Callable[[Step], None]

_WHERE_SAMPLES = 400
_LEAST_CONTACTS = 6


@dataclass(frozen=True)
class ByTarget:
    """Scale from a ChArUco sheet that the user describes."""

    target: TargetDescription


@dataclass(frozen=True)
class ByLength:
    """Scale from a known length between two marked points; without its standard deviation the usual one is taken."""

    length_mm: float
    start_px: Point
    end_px: Point
    length_sd_mm: float | None = None


@dataclass(frozen=True)
class ByRectangle:
    """Scale from a known rectangle with four marked corners; the first edge has the first length."""

    sides_mm: tuple[float, float]
    corners_px: tuple[Point, Point, Point, Point]
    side_sd_mm: float | None = None


@dataclass(frozen=True)
class ByCoin:
    """Scale from a coin: points on its upper rim, five or more."""

    diameter_mm: float
    thickness_mm: float
    rim_px: tuple[Point, ...]
    diameter_sd_mm: float | None = None


@dataclass(frozen=True)
class ByPitch:
    """Scale from the known pitch of the longest row of contacts."""

    pitch_mm: float


@dataclass(frozen=True)
class Automatic:
    """Look for our own printed target, then for contacts of a published outline; refuse where there is neither."""


@dataclass(frozen=True)
class WithoutScale:
    """Shares of the frame only."""


ScaleChoice = ByTarget | ByLength | ByRectangle | ByCoin | ByPitch | Automatic | WithoutScale


@dataclass(frozen=True)
class Request:
    """How a photo is to be measured.

    Attributes:
        scale: what gives the scale.
        board_thickness_mm: of the boards, or None for common ones.
        print_factor: printed ÷ stated size of our own target from its check bar; None if never measured.
        segmenter: None for the default one.
        properties: thickness, density and gold fraction by finish; None for the published priors.
    """

    scale: ScaleChoice = Automatic()
    board_thickness_mm: float | None = None
    print_factor: Distribution | None = None
    segmenter: Segmenter | None = None
    properties: Mapping[Finish, GoldProperties] | None = None


@dataclass(frozen=True)
class Measurement:
    """All that one photo gave.

    Attributes:
        photo: as loaded.
        request: how it was measured; whatever is made of the measurement later reckons with the same properties.
        scale: None where there is none; areas and gold are then None too.
        coverage: of the photo.
        regions: of the photo.
        area: visible plated area.
        gold: in that plating.
        gold_by_board: the same for each board of ``regions.boards``, in their order; empty without scale.
        readings: of the rows of contacts: keys, missing contacts, published outlines that they fit.
        notices: what the user should know.
        refused: why no area can be given, where one was asked for.
        corrections: by hand, that are in all of the above; ``grader.correct.measured`` makes them.
        found: the same photo without the corrections; None where there are none.
    """

    photo: Photo
    request: Request
    scale: Scale | None
    coverage: Coverage
    regions: Regions
    area: AreaEstimate | None
    gold: GoldEstimate | None
    notices: tuple[Notice, ...]
    refused: RefusedError | None = None
    gold_by_board: tuple[GoldEstimate, ...] = ()
    corrections: Corrections = NO_CORRECTIONS
    found: Measurement | None = None
    readings: tuple[RowReading, ...] = ()


def measure(photo: Photo, request: Request | None = None, progress: Progress | None = None) -> Measurement:
    """Measure one photo.

    A photo that cannot carry the scale asked for is still searched, so that its picture can be shown; ``refused``
    then says why there are no areas.

    Args:
        photo: loaded.
        request: how; None for the defaults.
        progress: called with the name of each step as it begins.

    Raises:
        UsageError: the request names points outside the photo, impossible sizes and the like.
    """
    wanted = request if request is not None else Request()
    say = progress if progress is not None else _silent
    segmenter = wanted.segmenter if wanted.segmenter is not None else default_segmenter()
    say("scale")
    scale, refused = _first_scale(photo, wanted)
    say("coverage")
    coverage = segmenter.segment(photo, scale)
    say("regions")
    regions = find_regions(coverage, scale, photo.rgb)
    if isinstance(wanted.scale, ByPitch):
        try:
            scale = _scale_by_pitch(photo, wanted.scale.pitch_mm, regions)
        except ScaleError as error:
            refused = error
        else:
            coverage = segmenter.segment(photo, scale)
            regions = find_regions(coverage, scale, photo.rgb)
    readings = read_rows(regions, coverage, photo.rgb)
    told: tuple[Notice, ...] = ()
    line = contact_line(readings)
    if line is not None and refused is not None and refused.code == "no-scale":
        scale, refused = _by_contacts(photo, line, None), None
        coverage = segmenter.segment(photo, scale)
        regions = find_regions(coverage, scale, photo.rgb)
        readings = read_rows(regions, coverage, photo.rgb)
        scale, told = _by_contacts(photo, line, coverage), (told_by_contacts(line),)
    elif line is not None and scale is not None:
        against = contradiction(line, scale)
        told = (against,) if against is not None else ()
    gave_scale = line if scale is not None and scale.method == "pitch" else None
    told = (*told, *missing_notices(readings, gave_scale))
    if scale is None:
        found = coverage.notices if refused is not None else (notice("no-scale"), *coverage.notices)
        warned = (*photo.notices, *found, *told)
        return Measurement(photo, wanted, None, coverage, regions, None, None, warned, refused, readings=readings)
    scale = with_pile(_where_it_counts(photo, wanted, scale, coverage), regions, photo)
    say("gold")
    area = estimate_area(coverage, regions, scale, photo.short_id)
    gold = gold_mass(area.by_finish, wanted.properties)
    return Measurement(
        photo=photo,
        request=wanted,
        scale=scale,
        coverage=coverage,
        regions=regions,
        area=area,
        gold=gold,
        notices=(*photo.notices, *scale.notices, *coverage.notices, *told),
        gold_by_board=tuple(gold_mass(on_board, wanted.properties) for on_board in area.by_board),
        readings=readings,
    )


def _silent(step: Step) -> None:
    """Progress that nobody watches."""


def _first_scale(photo: Photo, wanted: Request) -> tuple[Scale | None, RefusedError | None]:
    try:
        scale = _find_scale(photo, wanted)
    except RefusedError as error:
        return None, error
    if scale is None and isinstance(wanted.scale, Automatic):
        return None, ScaleError.of(notice("no-scale"))
    return scale, None


def _find_scale(photo: Photo, wanted: Request) -> Scale | None:
    choice = wanted.scale
    shape, focal, name = photo.rgb.shape, photo.focal_px, photo.short_id
    height = face_height(wanted.board_thickness_mm)
    match choice:
        case ByTarget():
            return scale_from_target(photo.rgb, choice.target, photo_id=name, focal_px=focal, face_height_mm=height)
        case ByLength():
            return _by_length(photo, choice, None)
        case ByRectangle():
            return scale_from_rectangle(
                shape,
                choice.sides_mm,
                choice.corners_px,
                photo_id=name,
                focal_px=focal,
                side_sd_mm=choice.side_sd_mm,
            )
        case ByCoin():
            return _by_coin(photo, choice, height, None)
        case Automatic():
            return find_own_target(
                photo.rgb,
                photo_id=name,
                focal_px=focal,
                face_height_mm=height,
                print_factor=wanted.print_factor,
            )
    return None


def _where_it_counts(photo: Photo, wanted: Request, scale: Scale, coverage: Coverage) -> Scale:
    """The scale again, where one mark gave it: its tilt now judged at the places where plating was found."""
    match wanted.scale:
        case ByLength():
            return _by_length(photo, wanted.scale, _plated_places(coverage))
        case ByCoin():
            height = face_height(wanted.board_thickness_mm)
            return _by_coin(photo, wanted.scale, height, _plated_places(coverage))
    return scale


def _by_length(photo: Photo, choice: ByLength, where_px: NDArray[np.float64] | None) -> Scale:
    return scale_from_length(
        photo.rgb.shape,
        choice.length_mm,
        choice.start_px,
        choice.end_px,
        photo_id=photo.short_id,
        focal_px=photo.focal_px,
        length_sd_mm=choice.length_sd_mm,
        where_px=where_px,
    )


def _by_coin(photo: Photo, choice: ByCoin, height_mm: Distribution, where_px: NDArray[np.float64] | None) -> Scale:
    return scale_from_coin(
        photo.rgb.shape,
        choice.diameter_mm,
        choice.rim_px,
        photo_id=photo.short_id,
        focal_px=photo.focal_px,
        diameter_sd_mm=choice.diameter_sd_mm,
        rise_mm=rise_over_coin(height_mm, choice.thickness_mm),
        where_px=where_px,
    )


def _by_contacts(photo: Photo, line: ContactLine, coverage: Coverage | None) -> Scale:
    """Scale from recognised contacts, its tilt judged where plating was found once that is known."""
    where = _plated_places(coverage) if coverage is not None else None
    return scale_from_contacts(
        photo.rgb.shape, line, photo_id=photo.short_id, focal_px=photo.focal_px, where_px=where
    )


def _plated_places(coverage: Coverage) -> NDArray[np.float64] | None:
    """Some plated pixels (n, 2), None where there are none."""
    ys, xs = np.nonzero(coverage.share > 127)
    if not len(ys):
        return None
    some = np.linspace(0, len(ys) - 1, min(_WHERE_SAMPLES, len(ys))).astype(int)
    return np.column_stack([xs[some], ys[some]]).astype(np.float64)


def _scale_by_pitch(photo: Photo, pitch_mm: float, regions: Regions) -> Scale:
    """Scale from the longest even row, found without scale: its ends are so many pitches apart.

    They need not be a whole number of them: a key may part a row by any step.
    """
    if not math.isfinite(pitch_mm) or pitch_mm <= 0:
        raise UsageError("pitch-invalid", f"A pitch of {pitch_mm:g} mm is not possible.", "Give a pitch above 0 mm.")
    even = [r for r in regions.rows if r.pitch is not None and r.count >= _LEAST_CONTACTS]
    if not even:
        raise ScaleError(
            "no-even-row",
            f"No row of at least {_LEAST_CONTACTS} evenly spaced contacts was found to take the pitch from.",
            "Move closer and take the photo again in focus, or give a known length.",
        )
    row: Row = max(even, key=lambda r: r.count)
    (x0, y0), (x1, y1) = row.ends_px
    steps = math.hypot(x1 - x0, y1 - y0) / (row.pitch or 1.0)
    scale = scale_from_length(
        photo.rgb.shape,
        steps * pitch_mm,
        row.ends_px[0],
        row.ends_px[1],
        photo_id=photo.short_id,
        focal_px=photo.focal_px,
    )
    return replace(scale, method="pitch")
