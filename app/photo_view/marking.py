"""Mark places on a photo by tapping: two ends of a length, four corners, points on a rim."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import streamlit as st

from app.photo_view.component import photo_mark
from app.photo_view.picture import photo_urls
from grader.photo import Photo
from grader.scale_choice import Point

Marks = tuple[Point | None, ...]


def mark_points(
    photo: Photo, labels: Sequence[str], points: Sequence[Point | None] = (), *, closed: bool = False
) -> Marks:
    """Draw the picture to mark on; return its points, None for each that is not set yet.

    Args:
        photo: to mark on.
        labels: name of each point, in the order in which they are asked for.
        points: their positions so far, in px of the photo: the last result, or the current values of number fields.
            A change made on the picture takes precedence, so keep the result and set fields to it.
        closed: whether the points surround something.
    """
    key = f"desk-mark-{photo.short_id}-{len(labels)}"
    told, made = _told(st.session_state.get(key), photo, len(labels))
    heard = st.session_state.get(f"{key}-heard", 0)
    now = made if told > heard else tuple(points[i] if i < len(points) else None for i in range(len(labels)))
    st.session_state[f"{key}-heard"] = told
    photo_mark(
        key=key,
        data={
            "version": photo.short_id,
            "size": [photo.width_px, photo.height_px],
            "photo": photo_urls(photo),
            "labels": list(labels),
            "points": [None if p is None else [round(p[0], 1), round(p[1], 1)] for p in now],
            "heard": told,
            "closed": closed,
        },
        on_points_change=_changed,
    )
    return now


def _told(state: Any, photo: Photo, count: int) -> tuple[int, Marks]:
    """The number of the component's latest change, and the points after it; 0 before the first change."""
    points = state.get("points") if isinstance(state, Mapping) else None
    try:
        told, at = int(points["told"]), list(points["at"])  # type: ignore[index]
    except (TypeError, KeyError, ValueError):
        return 0, (None,) * count
    return told, tuple(_point(at[i], photo) if i < len(at) else None for i in range(count))


def _changed() -> None:
    """Do nothing: the change itself draws the page again."""


def _point(given: Any, photo: Photo) -> Point | None:
    """A point as the browser gave it, or None for anything outside the photo."""
    try:
        x, y = (float(v) for v in given)
    except (TypeError, ValueError):
        return None
    inside = math.isfinite(x) and math.isfinite(y) and 0 <= x <= photo.width_px - 1 and 0 <= y <= photo.height_px - 1
    return (x, y) if inside else None
