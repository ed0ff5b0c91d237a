"""The questions that make a ``Request``: what gives the scale, and how thick the boards are."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

import streamlit as st

from app.shelf import drop_marked_photo, photo_to_mark
from app.show import problem, remark
from calibration.errors import UsageError
from calibration.print_check import load_print_check
from calibration.target import parse_target
from grader.measure import Automatic, ByLength, ByRectangle, ByTarget, Point, Request, ScaleChoice, WithoutScale
from grader.photo import Photo
from grader.places import print_check_path
from grader.report.marking import loupe_jpeg, ruled_jpeg
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
    """Points in px of the photo by number fields, with a loupe on each; None while one is missing."""
    picture = st.empty()
    points: list[Point] = []
    for label in labels:
        with st.container(horizontal=True, vertical_alignment="bottom"):
            x, y = (
                st.number_input(
                    f"{label}, {axis} px",
                    min_value=0.0,
                    max_value=float(size - 1),
                    value=None,
                    step=1.0,
                    format="%.1f",
                    key=f"{label}-{axis}-{photo.short_id}",
                    width=165,
                )
                for axis, size in (("x", photo.width_px), ("y", photo.height_px))
            )
        if x is not None and y is not None:
            points.append((x, y))
            st.image(loupe_jpeg(photo.rgb, (x, y)), width=196, alt=f"{label}, enlarged", caption=f"{label}, enlarged")
    picture.image(
        ruled_jpeg(photo.rgb, points),
        width="stretch",
        alt="The photo with rulers in pixels",
        caption="Read x off the top and y off the left, then put the cross on the spot with the enlarged view.",
    )
    return tuple(points) if len(points) == len(labels) else None
