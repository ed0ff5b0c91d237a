"""Correct the findings on a photo by hand: the component and its input."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

import streamlit as st

from app.common.trouble import telling
from app.photo_view.component import photo_correct
from app.photo_view.history import History, history_of
from app.photo_view.picture import forget_pictures, photo_urls
from calibration.finishes import FINISH_HATCH, FINISH_RGB, FINISH_WORDS, Finish
from grader.area import region_sums
from grader.correct.groups import seen_rows
from grader.correct.outlines import outlines
from grader.model import FINISHES
from grader.pipeline import Measurement

_BRUSH_MM, _BRUSH_RANGE_MM = 1.0, (0.1, 12.0)
_BRUSH_SHARE, _BRUSH_RANGE_SHARE = 0.01, (0.001, 0.1)  # of the photo's longer side, for photos without a scale
_SCENE, _VERSION = "desk-photo-view-scene", "desk-photo-view-version"


class Heard(Protocol):
    """Called for each step that is made on a picture; it may raise an error, which the page then shows."""

    def __call__(self, history: History, *, is_current: bool) -> None:
        """Keep the step.

        Args:
            history: all that was done and undone on the picture.
            is_current: whether the picture began with the history given last, not with one ended by ``begin_again``.
        """


def correcting_picture(found: Measurement, history: History, heard: Heard) -> None:
    """Draw the picture with its tools.

    Args:
        found: a measurement without corrections.
        history: the picture begins with this when it is drawn for the first time, after ``begin_again`` or on a page
            that was left and opened again; otherwise the picture's own state is newer.
        heard: called at once, before anything is drawn.
    """
    scene = _scene(found)
    key = f"desk-correct-{found.photo.short_id}"

    def changed() -> None:
        state = st.session_state.get(key)
        told = state.get("corrections") if isinstance(state, Mapping) else None
        is_current = isinstance(told, Mapping) and told.get("version") == st.session_state.get(_VERSION)
        heard(history_of(told, found.photo.sha256), is_current=is_current)

    begin = {"done": history.done.as_json()["corrections"], "undone": history.undone.as_json()["corrections"]}
    data = {**scene, **begin, "photo": photo_urls(found.photo)}
    photo_correct(key=key, data=data, on_corrections_change=telling(changed))


def begin_again() -> None:
    """Restart the picture with the history that it is given next."""
    st.session_state.pop(_SCENE, None)


def close_picture() -> None:
    """Release the picture."""
    begin_again()
    forget_pictures()


def _scene(found: Measurement) -> dict[str, Any]:
    """The content of the component, computed once when it is opened."""
    scene: dict[str, Any] | None = st.session_state.get(_SCENE)
    if scene is None or scene["sha256"] != found.photo.sha256:
        version = int(st.session_state.get(_VERSION, 0)) + 1
        st.session_state[_VERSION] = version
        scene = {"version": version, "sha256": found.photo.sha256, **_data(found)}
        st.session_state[_SCENE] = scene
    return scene


def _data(found: Measurement) -> dict[str, Any]:
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
    }


def _regions(found: Measurement) -> list[Mapping[str, Any]]:
    rows = seen_rows(found.regions, None if found.scale is None else found.scale.px_per_mm)
    mm2 = region_sums(found.coverage.share, found.regions.labels, found.scale)
    return [
        {
            "number": number,
            "finish": each.region.finish,
            "row": rows[each.region.number - 1],
            "board": each.region.board,
            "outlines": [[round(float(v), 2) for v in ring.ravel()] for ring in each.rings_px],
            "at_px": each.inside_px,
            "reach_px": each.reach_px,
            "mm2": float(mm2[each.region.number]) if found.scale is not None else None,
        }
        for number, each in enumerate(outlines(found.coverage.share, found.regions), 1)
    ]


def _finish(finish: Finish) -> dict[str, str]:
    rgb = ",".join(map(str, FINISH_RGB[finish]))
    return {"id": finish, "words": FINISH_WORDS[finish], "rgb": rgb, "hatch": FINISH_HATCH[finish]}
