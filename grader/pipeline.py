"""The steps for one photo: scale, coverage, regions, area, gold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from calibration.errors import RefusedError
from calibration.notices import Notice, notice
from calibration.scale import Scale
from grader.area import AreaEstimate, estimate_area
from grader.corrections import NO_CORRECTIONS, Corrections
from grader.coverage import Coverage, Segmenter
from grader.coverage.choose import segmenter_named
from grader.gold import GoldEstimate, gold_mass
from grader.photo import Photo
from grader.regions import Regions, RowReading, search_photo, with_pile
from grader.request import Request
from grader.scale_found import FoundScale, scale_at_plating, scale_before_search, scale_from_search

PipelineStep = Literal["scale", "coverage", "regions", "gold"]
StepProgress = Callable[[PipelineStep], None]


@dataclass(frozen=True)
class Measurement:
    """The result for one photo.

    Attributes:
        photo: as loaded.
        request: how it was measured; corrections and cuts made from it use the same properties.
        scale: None if none was found; areas and gold are then None too.
        coverage: of the photo.
        regions: of the photo.
        area: visible plated area.
        gold: in that plating.
        gold_by_board: the same for each board of ``regions.boards``, in their order; empty without scale.
        readings: of the rows of contacts: keys, missing contacts, matching published outlines.
        notices: what the user should know.
        refused: why no area can be given, if one was asked for.
        corrections: made by hand and applied to all of the above (see ``grader.correct.measured``).
        found: the same photo without the corrections; None if there are none.
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


def measure(photo: Photo, request: Request | None = None, progress: StepProgress | None = None) -> Measurement:
    """Measure one photo.

    A photo that does not support the requested scale is still searched, so that its picture can be shown;
    ``refused`` then says why there are no areas.

    Args:
        photo: the loaded photo.
        request: how to measure it; None for the defaults.
        progress: called with the name of each step as it begins.

    Raises:
        UsageError: the request names points outside the photo, impossible sizes, an unknown segmenter and so on.
    """
    wanted = request if request is not None else Request()
    say = progress if progress is not None else _silent
    segmenter = _segmenter(wanted)
    say("scale")
    known = scale_before_search(photo, wanted)
    seen = _search(photo, segmenter, known.scale, say)
    found = scale_from_search(photo, wanted, known, seen.regions, seen.readings)
    if found.scale is not known.scale:
        seen = _search(photo, segmenter, found.scale, _silent)
    final = scale_at_plating(photo, wanted, found, seen.coverage, seen.regions, seen.readings)
    if final.scale is not None:
        say("gold")
    return with_gold(_without_gold(photo, wanted, seen, final))


def measure_at(photo: Photo, scale: Scale, request: Request | None = None) -> Measurement:
    """Measure one photo with a scale that comes from outside it.

    Args:
        photo: the loaded photo.
        scale: of the photo.
        request: everything else; no scale is searched for.

    Raises:
        UsageError: an unknown segmenter.
    """
    wanted = request if request is not None else Request()
    seen = _search(photo, _segmenter(wanted), scale, _silent)
    known = with_pile(scale, seen.regions, photo)
    return with_gold(
        Measurement(
            photo=photo,
            request=wanted,
            scale=known,
            coverage=seen.coverage,
            regions=seen.regions,
            area=None,
            gold=None,
            notices=(*photo.notices, *known.notices, *seen.coverage.notices),
            readings=seen.readings,
        )
    )


def with_gold(done: Measurement) -> Measurement:
    """Add area and gold to a measurement; unchanged without a scale."""
    if done.scale is None:
        return done
    area = estimate_area(done.coverage, done.regions, done.scale, done.photo.short_id)
    properties = done.request.properties
    return replace(
        done,
        area=area,
        gold=gold_mass(area.by_finish, properties),
        gold_by_board=tuple(gold_mass(on_board, properties) for on_board in area.by_board),
    )


@dataclass(frozen=True)
class _Seen:
    """What a search at one scale found."""

    coverage: Coverage
    regions: Regions
    readings: tuple[RowReading, ...]


def _search(photo: Photo, segmenter: Segmenter, scale: Scale | None, say: StepProgress) -> _Seen:
    say("coverage")
    coverage = segmenter.segment(photo, scale)
    say("regions")
    regions, readings = search_photo(coverage, scale, photo.rgb)
    return _Seen(coverage, regions, readings)


def _without_gold(photo: Photo, wanted: Request, seen: _Seen, at: FoundScale) -> Measurement:
    """What was found and at which scale, with all notices about both."""
    without = () if at.scale is not None or at.refused is not None else (notice("no-scale"),)
    of_scale = () if at.scale is None else at.scale.notices
    return Measurement(
        photo=photo,
        request=wanted,
        scale=at.scale,
        coverage=seen.coverage,
        regions=seen.regions,
        area=None,
        gold=None,
        notices=(*photo.notices, *without, *of_scale, *seen.coverage.notices, *at.notices),
        refused=at.refused,
        readings=seen.readings,
    )


def _segmenter(wanted: Request) -> Segmenter:
    chosen = wanted.segmenter
    return segmenter_named(chosen) if chosen is None or isinstance(chosen, str) else chosen


def _silent(step: PipelineStep) -> None:
    """Ignore progress."""
