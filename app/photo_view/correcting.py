"""Correct by hand what was found on a photo: the component, and what its list means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from app.photo_view.component import photo_correct
from app.photo_view.picture import photo_urls
from app.show import problem
from calibration.errors import DataFileError
from grader.area import region_sums
from grader.correct import Corrections
from grader.correct.outlines import outlines
from grader.measure import Measurement
from grader.model import FINISHES
from grader.report.overlay import FINISH_RGB, FINISH_WORDS

_BRUSH_MM, _BRUSH_RANGE_MM = 1.0, (0.1, 12.0)
_BRUSH_SHARE, _BRUSH_RANGE_SHARE = 0.01, (0.001, 0.1)  # of the photo's longer side, without scale
_SCENE = "photo-view-scene"


def correct(measured: Measurement) -> Corrections:
    """The picture with its tools, and the corrections that were made on it so far.

    Args:
        measured: with the corrections that are to begin with; those made here take their place.
    """
    found = measured.found if measured.found is not None else measured
    scene = _scene(found, measured.corrections)
    result = photo_correct(
        key=f"correct-{found.photo.short_id}-{scene['version']}",
        data={**scene, "photo": photo_urls(found.photo)},
        on_corrections_change=_changed,
    )
    made = result.get("corrections")
    if made is None:
        return measured.corrections
    try:
        return Corrections.from_json({"schema": 1, "sha256": found.photo.sha256, "corrections": made})
    except DataFileError as error:
        problem(error)
        return measured.corrections


def _changed() -> None:
    """A change draws the page, or its fragment, again."""


def _scene(found: Measurement, corrections: Corrections) -> dict[str, Any]:
    """What the component shows: worked out once for each photo, the list that it began with included.

    The list must not follow the component's own changes, or it would begin anew with each of them.
    """
    kept: dict[str, Any] = st.session_state.get(_SCENE, {})
    if kept.get("found") is not found:
        version = int(kept.get("version", 0)) + 1
        kept = {"found": found, "version": version, "data": _data(found, corrections, version)}
        st.session_state[_SCENE] = kept
    return dict(kept["data"])


def _data(found: Measurement, corrections: Corrections, version: int) -> dict[str, Any]:
    photo, scale = found.photo, found.scale
    longer = max(photo.width_px, photo.height_px)
    per = scale.px_per_mm if scale is not None else float(longer)
    usual, (least, most) = (_BRUSH_MM, _BRUSH_RANGE_MM) if scale is not None else (_BRUSH_SHARE, _BRUSH_RANGE_SHARE)
    return {
        "version": version,
        "size": [photo.width_px, photo.height_px],
        "px_per_mm": scale.px_per_mm if scale is not None else None,
        "brush_px": usual * per,
        "brush_range_px": [max(least * per, 1.0), max(most * per, 8.0)],
        "finishes": [{"id": f, "words": FINISH_WORDS[f], "rgb": ",".join(map(str, FINISH_RGB[f]))} for f in FINISHES],
        "regions": _regions(found),
        "corrections": corrections.as_json()["corrections"],
    }


def _regions(found: Measurement) -> list[Mapping[str, Any]]:
    mm2 = region_sums(found.coverage.share, found.regions.labels, found.scale)
    return [
        {
            "number": number,
            "finish": each.region.finish,
            "outlines": [[round(float(v), 2) for v in ring.ravel()] for ring in each.rings_px],
            "at_px": each.inside_px,
            "reach_px": each.reach_px,
            "area": f"{mm2[each.region.number]:.3g} mm²" if found.scale is not None else "",
        }
        for number, each in enumerate(outlines(found.coverage.share, found.regions), 1)
    ]
