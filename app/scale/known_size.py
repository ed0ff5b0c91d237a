"""Sizes to pick from: cards, sheets, modules, coins, contacts of a published outline; or a typed size."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import streamlit as st

from app.common.show import remark, where_from
from calibration.digits import as_given
from calibration.families import contact_families
from calibration.sourced import source_words
from calibration.standard_objects import ObjectKind, standard_objects

_TYPED = "desk-typed"


@dataclass(frozen=True)
class Size:
    """A size that was picked or typed.

    Attributes:
        sizes_mm: one or two lengths; the longer side first where it was picked.
        sd_mm: standard deviation; None for the usual one of a typed size.
        thickness_mm: of a coin, otherwise 0.
        is_picked: whether it came from the list.
    """

    sizes_mm: tuple[float, ...]
    sd_mm: float | None
    thickness_mm: float
    is_picked: bool


def pick_size(
    question: str, kind: ObjectKind, key: str, typed: Callable[[], tuple[float, ...] | None], *, listed: bool = True
) -> Size | None:
    """Offer a list of things of one kind, and a field for any other size; None while nothing is given.

    Args:
        question: above the list.
        kind: rectangle, length or coin; coins with flats are not circles and are left out.
        key: of the list.
        typed: asks for a size in mm.
        listed: whether there is a list, or only the field.
    """
    known = {o.name: o for o in standard_objects().values() if o.kind == kind and o.outline != "flats"}
    words = {o.name: f"{o.name}: {_mm(o.sizes_mm)}" for o in known.values()}
    name = _pick(question, words, key) if listed else _TYPED
    if name not in known:
        sizes = typed()
        return None if sizes is None else Size(sizes, None, 0.0, is_picked=False)
    picked = known[name]
    if picked.note:
        remark(f"Mind: {picked.note}.")
    tell_source(picked.source, picked.how_known)
    return Size(picked.sizes_mm, picked.size_sd_mm, picked.thickness_mm or 0.0, is_picked=True)


def pick_pitch(question: str, key: str, typed: Callable[[], float | None], *, listed: bool = True) -> float | None:
    """Ask for the pitch of contacts, from a published outline or typed, in mm."""
    families = {f.key: f for f in contact_families()}
    words = {f.key: f"{f.title}: {as_given(f.pitch_mm)} mm" for f in families.values()}
    name = _pick(question, words, key) if listed else _TYPED
    if name not in families:
        return typed()
    family = families[name]
    tell_source(family.layout_source, family.layout_known)
    return family.pitch_mm


def tell_source(source: str, how_known: str) -> None:
    """Show the source of a size, for anyone who asks."""
    where_from(f"{source_words(source, how_known)}. Measure yours where you can.")


def _pick(question: str, words: Mapping[str, str], key: str) -> str:
    options = [_TYPED, *words]
    return str(
        st.selectbox(
            question,
            options,
            format_func=lambda name: words.get(name, "Another: I type its size"),
            key=key,
            persist_state="session",
        )
    )


def _mm(sizes_mm: tuple[float, ...]) -> str:
    return " × ".join(f"{as_given(size)}" for size in sizes_mm) + " mm"
