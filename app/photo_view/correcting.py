"""Correct by hand what was found on a photo: the component, and what its list means."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import streamlit as st

from app.common.show import problem
from app.photo_view.component import photo_correct
from app.photo_view.picture import forget_pictures, photo_urls
from calibration.errors import DataFileError
from calibration.finishes import FINISH_HATCH, FINISH_RGB, FINISH_WORDS, Finish
from grader.area import region_sums
from grader.correct import Corrections
from grader.correct.outlines import outlines
from grader.model import FINISHES
from grader.pipeline import Measurement

_BRUSH_MM, _BRUSH_RANGE_MM = 1.0, (0.1, 12.0)
_BRUSH_SHARE, _BRUSH_RANGE_SHARE = 0.01, (0.001, 0.1)  # of the photo's longer side, without scale
_SCENE, _VERSION = "desk-photo-view-scene", "desk-photo-view-version"


def correct(found: Measurement, before: Corrections) -> Corrections:
    """The picture with its tools, and all corrections made on it so far.

    Args:
        found: a measurement without corrections.
        before: what to begin with when the picture is opened; later what was made here counts.
    """
    scene = _scene(found, before)
    photo_correct(key=_key(scene), data={**scene, "photo": photo_urls(found.photo)}, on_corrections_change=_changed)
    try:
        made = made_on_picture(found)
    except DataFileError as error:
        problem(error)
        made = None
    return before if made is None else made


def made_on_picture(found: Measurement) -> Corrections | None:
    """All corrections on the picture of a photo, those that it began with included; None where none is open.

    Raises:
        DataFileError: what the browser sent is no list of corrections.
    """
    scene: dict[str, Any] | None = st.session_state.get(_SCENE)
    if scene is None or scene["sha256"] != found.photo.sha256:
        return None
    told = _told(_key(scene))
    made = scene["corrections"] if told is None else told
    return Corrections.from_json({"schema": 1, "sha256": found.photo.sha256, "corrections": made})


def _key(scene: Mapping[str, Any]) -> str:
    return f"desk-correct-{scene['version']}"


def _told(key: str) -> Any:
    """What the component last sent; None before the first change."""
    state = st.session_state.get(key)
    return state.get("corrections") if isinstance(state, Mapping) else None


def begin_again() -> None:
    """Close the picture: the next one begins with the corrections that it is given."""
    st.session_state.pop(_SCENE, None)
    forget_pictures()


def _changed() -> None:
    """A change draws the page, or its fragment, again."""


def _scene(found: Measurement, before: Corrections) -> dict[str, Any]:
    """What the component shows: worked out once when it is opened, the list that it began with included.

    The list must not follow the component's own changes, or it would begin anew with each of them.
    """
    scene: dict[str, Any] | None = st.session_state.get(_SCENE)
    if scene is None or scene["sha256"] != found.photo.sha256:
        version = int(st.session_state.get(_VERSION, 0)) + 1
        st.session_state[_VERSION] = version
        scene = {"version": version, "sha256": found.photo.sha256, **_data(found, before)}
        st.session_state[_SCENE] = scene
    return scene


def _data(found: Measurement, before: Corrections) -> dict[str, Any]:
    photo, scale = found.photo, found.scale
    longer = max(photo.width_px, photo.height_px)
    per = scale.px_per_mm if scale is not None else float(longer)
    usual, (least, most) = (_BRUSH_MM, _BRUSH_RANGE_MM) if scale is not None else (_BRUSH_SHARE, _BRUSH_RANGE_SHARE)
    return {
        "size": [photo.width_px, photo.height_px],
        "px_per_mm": scale.px_per_mm if scale is not None else None,
        "brush_px": usual * per,
        "brush_range_px": [max(least * per, 1.0), max(most * per, 8.0)],
        "finishes": [_finish(f) for f in FINISHES],
        "regions": _regions(found),
        "corrections": before.as_json()["corrections"],
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


def _finish(finish: Finish) -> dict[str, str]:
    rgb = ",".join(map(str, FINISH_RGB[finish]))
    return {"id": finish, "words": FINISH_WORDS[finish], "rgb": rgb, "hatch": FINISH_HATCH[finish]}
