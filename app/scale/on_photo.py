"""A scale for a photo without one: a single list of things of known size, and their ends on the picture."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from app.common.show import problem, remark
from app.lots.shelf import photo_to_mark
from app.scale.form import COIN, LENGTH, PITCH, RECTANGLE, ask_choice, ask_points
from app.scale.known_size import tell_source
from calibration.digits import as_given
from calibration.families import ContactFamily, contact_families
from calibration.standard_objects import StandardObject, sides_in_order, standard_objects
from grader.scale_choice import ByCoin, ByLength, ByPitch, ByRectangle, Point, ScaleChoice

_OTHERS: Mapping[str, str] = {
    LENGTH: "Another length, which you type",
    RECTANGLE: "Another rectangle, whose sides you type",
    COIN: "Another coin or disc, whose diameter you type",
    PITCH: "Even contacts, whose pitch you type",
}
_LEAST_RIM_POINTS, _RIM_POINTS = 5, 8


def mark_known_size(name: str, data: bytes, key: str) -> ScaleChoice | None:
    """Ask the questions; None while something is missing, which is then shown.

    Args:
        name: of the photo.
        data: its bytes.
        key: distinguishes the questions of this photo from those of another.
    """
    things = {o.name: o for o in standard_objects().values() if o.outline != "flats"}
    families = {f.title: f for f in contact_families()}
    chosen = st.selectbox(
        "What of known size lies in the picture?",
        _in_order(things, families),
        index=None,
        placeholder="Choose what it is, or type its name",
        format_func=lambda name: _words(name, things, families),
        key=f"known-thing-{key}",
    )
    if chosen is None:
        return None
    if chosen in families:
        tell_source(families[chosen].layout_source, families[chosen].layout_known)
        return ByPitch(families[chosen].pitch_mm)
    if chosen in _OTHERS:
        return ask_choice(chosen, name, data, listed=False)
    photo = photo_to_mark(name, data, lambda error: problem(error, name))
    if photo is None:
        return None
    thing = things[chosen]
    if thing.note:
        remark(f"Mind: {thing.note}.")
    return _choice(thing, ask_points(photo, _labels(thing)))


def _in_order(things: Mapping[str, StandardObject], families: Mapping[str, ContactFamily]) -> list[str]:
    """In order of nearness to the boards: their own edges, a typed length, then cards, sheets, coins, contacts."""
    by_kind = {
        kind: [name for name, o in things.items() if o.kind == kind] for kind in ("length", "rectangle", "coin")
    }
    others = [way for way in _OTHERS if way != LENGTH]
    return [*by_kind["length"], LENGTH, *by_kind["rectangle"], *by_kind["coin"], *families, *others]


def _labels(thing: StandardObject) -> tuple[str, ...]:
    if thing.kind == "length":
        return ("One end", "Other end")
    if thing.kind == "rectangle":
        return tuple(f"Corner {n}" for n in range(1, 5))
    return tuple(f"Rim {n}" for n in range(1, _RIM_POINTS + 1))


def _choice(thing: StandardObject, points: tuple[Point, ...]) -> ScaleChoice | None:
    tell_source(thing.source, thing.how_known)
    if thing.kind == "length":
        return ByLength(thing.sizes_mm[0], points[0], points[1], thing.size_sd_mm) if len(points) == 2 else None
    if thing.kind == "coin":
        if len(points) < _LEAST_RIM_POINTS:
            return None
        return ByCoin(thing.sizes_mm[0], thing.thickness_mm or 0.0, points, thing.size_sd_mm)
    if len(points) < 4:
        return None
    corners = (points[0], points[1], points[2], points[3])
    first, second = thing.sizes_mm
    return ByRectangle(sides_in_order((first, second), corners), corners, thing.size_sd_mm)


def _words(name: str, things: Mapping[str, StandardObject], families: Mapping[str, ContactFamily]) -> str:
    if name in _OTHERS:
        return _OTHERS[name]
    if name in families:
        return f"Contacts of {name}: {as_given(families[name].pitch_mm)} mm apart"
    thing = things[name]
    size = " × ".join(f"{as_given(mm)}" for mm in thing.sizes_mm)
    return f"{name}, long edge: {size} mm" if thing.kind == "length" else f"{name}: {size} mm"
