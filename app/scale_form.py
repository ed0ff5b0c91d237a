"""The questions that make a ``Request``: what gives the scale, and how thick the boards are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import streamlit as st

from app.photo_view import mark_points
from app.shelf import drop_marked_photo, photo_to_mark
from app.show import problem, remark
from calibration.errors import UsageError
from calibration.print_check import load_print_check
from calibration.target import parse_target
from grader.measure import Automatic, ByLength, ByRectangle, ByTarget, Point, Request, ScaleChoice, WithoutScale
from grader.photo import Photo
from grader.places import print_check_path
from grader.units import parse_length_mm, parse_pair_mm

_T = TypeVar("_T")

PRINTED, LENGTH, RECTANGLE, OTHER, NONE = (
    "The printed target, found by itself",
    "A known length in the photo",
    "A known rectangle in the photo",
    "Another target that you describe",
    "Nothing: shares of the frame only",
)
MARKED = (LENGTH, RECTANGLE)


def ask_way() -> str:
    """Which of the ways gives the scale."""
    way = st.selectbox(
        "What gives the scale?", [PRINTED, LENGTH, RECTANGLE, OTHER, NONE], key="scale-way", persist_state="session"
    )
    if way not in MARKED:
        drop_marked_photo()
    return str(way)


def ask_request(way: str, name: str, data: bytes) -> Request | None:
    """The request, or None while something is missing or wrong (which is then said beside its field).

    Args:
        way: as ``ask_way`` gave it.
        name: of the photo on which points are marked.
        data: its bytes.
    """
    choice = _choice(way, name, data)
    thickness, thickness_ok = read(
        st.text_input(
            "Thickness of the boards, if you know it",
            placeholder="1.6 mm",
            key="board-thickness",
            persist_state="session",
        ),
        parse_length_mm,
    )
    try:
        check = load_print_check(print_check_path())
    except UsageError as error:
        problem(error)
        check = None
    if choice is None or not thickness_ok:
        return None
    return Request(choice, thickness, check.print_factor() if check is not None else None)


def read(text: str | None, parse: Callable[[str], _T]) -> tuple[_T | None, bool]:
    """A field's value and whether it can be used; an error is shown where the page stands."""
    if not text or not text.strip():
        return None, True
    try:
        return parse(text), True
    except UsageError as error:
        problem(error)
        return None, False


def _choice(way: str, name: str, data: bytes) -> ScaleChoice | None:
    if way == PRINTED:
        return Automatic()
    if way == NONE:
        return WithoutScale()
    if way == OTHER:
        return _other_target()
    photo = photo_to_mark(name, data, lambda error: problem(error, name))
    if photo is None:
        return None
    return _length(photo) if way == LENGTH else _rectangle(photo)


def _other_target() -> ByTarget | None:
    file = st.file_uploader("The target's description, a JSON file", key="target-file")
    if file is None:
        remark("It says which ChArUco sheet you printed: dictionary, squares across and down, their sizes in mm.")
        return None
    try:
        return ByTarget(parse_target(file.getvalue()))
    except UsageError as error:
        problem(error)
        return None


def _length(photo: Photo) -> ByLength | None:
    length, _ = read(
        st.text_input("Length with its unit", placeholder="133.35 mm", key="known-length", persist_state="session"),
        parse_length_mm,
    )
    points = _points(photo, ("One end", "Other end"))
    if length is None or points is None:
        remark("Give the length and its two ends; then measure.")
        return None
    return ByLength(length, points[0], points[1])


def _rectangle(photo: Photo) -> ByRectangle | None:
    sides, _ = read(
        st.text_input(
            "Its two sides, with their unit; the first is from corner 1 to corner 2",
            placeholder="133.35 x 31.25 mm",
            key="known-rectangle",
            persist_state="session",
        ),
        parse_pair_mm,
    )
    points = _points(photo, ("Corner 1", "Corner 2", "Corner 3", "Corner 4"))
    if sides is None or points is None:
        remark("Give the sides and the four corners, going round; then measure.")
        return None
    return ByRectangle(sides, (points[0], points[1], points[2], points[3]))


def _points(photo: Photo, labels: Sequence[str]) -> tuple[Point, ...] | None:
    """Points in px of the photo, marked on the picture or typed as numbers; None while one is missing."""
    keys = [tuple(f"{label}-{axis}-{photo.short_id}" for axis in "xy") for label in labels]
    typed = [_typed(*pair) for pair in keys]
    marked = mark_points(photo, labels, typed, closed=len(labels) > 2)
    for pair, before, now in zip(keys, typed, marked, strict=True):
        if now != before:
            for key, value in zip(pair, now if now is not None else (None, None), strict=True):
                st.session_state[key] = value
    with st.expander("The same as numbers, in px of the photo"):
        for label, pair in zip(labels, keys, strict=True):
            with st.container(horizontal=True, vertical_alignment="bottom"):
                for axis, key, size in zip("xy", pair, (photo.width_px, photo.height_px), strict=True):
                    st.number_input(
                        f"{label}, {axis} px",
                        min_value=0.0,
                        max_value=float(size - 1),
                        value=None,
                        step=1.0,
                        format="%.1f",
                        key=key,
                        width=165,
                    )
    set_ones = [point for point in marked if point is not None]
    return tuple(set_ones) if len(set_ones) == len(labels) else None


def _typed(x_key: str, y_key: str) -> Point | None:
    x, y = (st.session_state.get(key) for key in (x_key, y_key))
    return None if x is None or y is None else (float(x), float(y))
