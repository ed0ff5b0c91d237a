"""The questions that make a ``Request``: the source of the scale, and the thickness of the boards."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import streamlit as st

from app.common.show import problem, remark
from app.lots.shelf import drop_marked_photo, photo_to_mark
from app.photo_view import mark_points
from app.scale.known_size import pick_pitch, pick_size
from calibration.errors import UsageError
from calibration.print_check import load_print_check
from calibration.standard_objects import sides_in_order
from calibration.target import parse_target
from grader.coverage.choose import segmenter_names
from grader.photo import Photo
from grader.places import print_check_path
from grader.request import Request
from grader.scale_choice import (
    Automatic,
    ByCoin,
    ByLength,
    ByPitch,
    ByRectangle,
    ByTarget,
    Point,
    ScaleChoice,
    WithoutScale,
)
from grader.units import parse_length_mm, parse_pair_mm

_T = TypeVar("_T")

PRINTED, LENGTH, RECTANGLE, COIN, PITCH, OTHER, NONE = (
    "The printed target, or known contacts: found by itself",
    "A known length in the photo",
    "A known rectangle in the photo",
    "A coin in the photo",
    "The pitch of the contacts",
    "Another target that you describe",
    "Nothing: shares of the frame only",
)
MARKED = (LENGTH, RECTANGLE, COIN)
_RIM_POINTS, _LEAST_RIM_POINTS = 8, 5


def ask_way() -> str:
    """Ask for the way that gives the scale."""
    way = st.selectbox(
        "What gives the scale?",
        [PRINTED, LENGTH, RECTANGLE, COIN, PITCH, OTHER, NONE],
        key="scale-way",
        persist_state="session",
    )
    if way not in MARKED:
        drop_marked_photo()
    return str(way)


def ask_request(way: str, name: str, data: bytes) -> Request | None:
    """The request, or None while something is missing or wrong (which is then shown beside its field).

    Args:
        way: as returned by ``ask_way``.
        name: of the photo on which points are marked.
        data: its bytes.
    """
    choice = ask_choice(way, name, data)
    thickness, thickness_ok = read(
        st.text_input(
            "Thickness of the boards, if you know it",
            placeholder="1.6 mm",
            key="board-thickness",
            persist_state="session",
        ),
        parse_length_mm,
    )
    segmenter = _segmenter()
    try:
        check = load_print_check(print_check_path())
    except UsageError as error:
        problem(error)
        check = None
    if choice is None or not thickness_ok:
        return None
    return Request(choice, thickness, check.print_factor() if check is not None else None, segmenter)


def _segmenter() -> str | None:
    """Ask which method finds the plating, if there is more than one; None for the usual one."""
    usual, *others = segmenter_names()
    if not others:
        return None
    chosen = st.selectbox("What finds the plating?", [usual, *others], key="segmenter", persist_state="session")
    return None if chosen == usual else str(chosen)


def read(text: str | None, parse: Callable[[str], _T]) -> tuple[_T | None, bool]:
    """A field's value and whether it can be used; an error is shown at the current place on the page."""
    if not text or not text.strip():
        return None, True
    try:
        return parse(text), True
    except UsageError as error:
        problem(error)
        return None, False


def ask_choice(way: str, name: str, data: bytes, *, listed: bool = True) -> ScaleChoice | None:
    """Ask for the details of one way to get the scale; None while something is missing or wrong.

    Args:
        way: as given by ``ask_way``.
        name: of the photo on which points are marked.
        data: its bytes.
        listed: whether sizes can be picked from a list; otherwise they are typed.
    """
    if way == PRINTED:
        return Automatic()
    if way == NONE:
        return WithoutScale()
    if way == PITCH:
        return _pitch(listed=listed)
    if way == OTHER:
        return _other_target()
    photo = photo_to_mark(name, data, lambda error: problem(error, name))
    if photo is None:
        return None
    return {LENGTH: _length, RECTANGLE: _rectangle, COIN: _coin}[way](photo, listed)


def _pitch(*, listed: bool) -> ByPitch | None:
    pitch = pick_pitch(
        "Which contacts?",
        "known-contacts",
        lambda: _typed_mm("Their pitch, middle to middle", "1.27 mm", "known-pitch"),
        listed=listed,
    )
    if pitch is None:
        remark("Give the pitch: the longest even row of contacts in the photo then gives the scale.")
        return None
    return ByPitch(pitch)


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


def _length(photo: Photo, listed: bool) -> ByLength | None:
    size = pick_size(
        "What is it?",
        "length",
        "known-length-of",
        lambda: _one(_typed_mm("Length with its unit", "133.35 mm", "known-length")),
        listed=listed,
    )
    points = ask_points(photo, ("One end", "Other end"))
    if size is None or len(points) < 2:
        remark("Give the length and its two ends; then measure.")
        return None
    return ByLength(size.sizes_mm[0], points[0], points[1], size.sd_mm)


def _rectangle(photo: Photo, listed: bool) -> ByRectangle | None:
    def typed() -> tuple[float, ...] | None:
        label = "Its two sides, with their unit; the first is from corner 1 to corner 2"
        text = st.text_input(label, placeholder="133.35 x 31.25 mm", key="known-rectangle", persist_state="session")
        return read(text, parse_pair_mm)[0]

    size = pick_size("What is it?", "rectangle", "known-rectangle-of", typed, listed=listed)
    points = ask_points(photo, ("Corner 1", "Corner 2", "Corner 3", "Corner 4"))
    if size is None or len(points) < 4:
        remark("Give the sides and the four corners, going round; then measure.")
        return None
    corners = (points[0], points[1], points[2], points[3])
    first, second = size.sizes_mm
    sides = sides_in_order(size.sizes_mm, corners) if size.is_picked else (first, second)
    return ByRectangle(sides, corners, size.sd_mm)


def _coin(photo: Photo, listed: bool) -> ByCoin | None:
    size = pick_size(
        "Which coin?",
        "coin",
        "known-coin",
        lambda: _one(_typed_mm("Diameter of the disc, with its unit", "24.26 mm", "known-diameter")),
        listed=listed,
    )
    points = ask_points(photo, tuple(f"Rim {n}" for n in range(1, _RIM_POINTS + 1)))
    if size is None or len(points) < _LEAST_RIM_POINTS:
        remark(f"Give the coin and at least {_LEAST_RIM_POINTS} points all round its upper rim; then measure.")
        return None
    return ByCoin(size.sizes_mm[0], size.thickness_mm, points, size.sd_mm)


def _typed_mm(label: str, placeholder: str, key: str) -> float | None:
    return read(st.text_input(label, placeholder=placeholder, key=key, persist_state="session"), parse_length_mm)[0]


def _one(size_mm: float | None) -> tuple[float, ...] | None:
    return None if size_mm is None else (size_mm,)


def ask_points(photo: Photo, labels: Sequence[str]) -> tuple[Point, ...]:
    """The points that are set, in px of the photo, marked on the picture or typed as numbers."""
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
    return tuple(point for point in marked if point is not None)


def _typed(x_key: str, y_key: str) -> Point | None:
    x, y = (st.session_state.get(key) for key in (x_key, y_key))
    return None if x is None or y is None else (float(x), float(y))
