"""Correct a measured photo by hand: its picture with tools, figures that follow at once, and what can be saved."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import PurePath
from typing import Any

import streamlit as st

from app.common.show import as_typed, figure, heading, problem, range_text, remark, visible_only
from app.common.trouble import telling
from app.lots.desk import current_lot, desk
from app.lots.shelf import Kept, kept
from app.photo_view import begin_again, correct, made_on_picture
from calibration.errors import DataFileError, GraderError, PhotoError
from grader.correct import Corrections
from grader.correct.export import training_zip
from grader.correct.measured import correct as with_corrections
from grader.measured import Measured
from grader.measured.of_measurement import corrections_of
from grader.model import ProductModel, Range
from grader.photo import load_photo
from grader.pipeline import Measurement, measure
from grader.report import overlay_png
from grader.report.words import correction_words
from grader.request import Request
from grader.units import format_share

_OPEN, _FOUND, _TAKE_BACK = "desk-correcting", "desk-correcting-found", "desk-correcting-back"
_BASE = "desk-correcting-base"  # the measurement on which the corrections on the picture build


def is_correcting(done: Kept) -> bool:
    """Whether the photo is open to be corrected."""
    return bool(st.session_state.get(_OPEN) == done.sha256)


def offer_correcting(done: Kept) -> None:
    """The way in, and what was corrected before."""
    record = done.measured.corrections
    if record is not None:
        remark(correction_words(record))
    st.button(
        "Correct what was found", icon=":material/brush:", key="open-correcting", on_click=_open, args=(done.sha256,)
    )


def show_correcting(done: Kept) -> None:
    """The photo with its tools in the place of the result, until it is closed."""
    heading(done.name)
    try:
        found = _found(done)
        before = done.measured.made_by_hand
    except GraderError as error:
        problem(error, done.name)
        st.button("Back to the result", on_click=_close)
        return
    st.button("Done: back to the result", type="primary", width="stretch", key="close-correcting", on_click=_close)
    _bench(done.sha256, found, before)
    visible_only(done.measured.statement)


def settle_corrections() -> None:
    """Keep the last correction where the page is drawn anew before its fragment came to do it.

    A click elsewhere ends a fragment in its midst. To be called before anything is drawn, on every page. What another
    window made takes the picture's place where nothing was corrected here since; otherwise both are kept.
    """
    opened: tuple[Request, Measurement] | None = st.session_state.get(_FOUND)
    done = kept().get(st.session_state.get(_OPEN, ""))
    if opened is None or done is None:
        return
    request, found = opened
    try:
        made = made_on_picture(found)
    except DataFileError:
        return
    base = _base(done)
    if made is None or request != base.request:
        return
    if made.items != base.measured.made_by_hand.items:
        _keep(base, with_corrections(found, made))
    elif done.stamp != base.stamp:
        begin_again()
        st.session_state[_BASE] = done


@telling
def _open(sha256: str) -> None:
    st.session_state[_OPEN] = sha256
    st.session_state.pop(_BASE, None)


@telling
def _close() -> None:
    settle_corrections()
    for key in (_OPEN, _FOUND, _BASE):
        st.session_state.pop(key, None)
    begin_again()


def _found(done: Kept) -> Measurement:
    """What was found on the photo, searched once more: only one photo is kept as arrays.

    Raises:
        PhotoError: the photo is gone, or no photo.
        UsageError: as ``measure``.
    """
    opened: tuple[Request, Measurement] | None = st.session_state.get(_FOUND)
    request, found = opened if opened is not None else (None, None)
    if found is None or found.photo.sha256 != done.sha256 or request != done.request:
        data = current_lot().photo(done.sha256)
        if data is None:
            raise PhotoError("photo-missing", "The photo has been removed.", "Choose and measure it again.")
        with st.spinner("Getting the picture ready …"), desk().one_at_a_time:
            found = measure(load_photo(data, done.name), done.request)
        st.session_state[_FOUND] = done.request, found
    return found


@st.fragment
def _bench(sha256: str, found: Measurement, before: Corrections) -> None:
    """Drawn again by itself after each correction: figures first, then what takes longer."""
    done = kept()[sha256]
    if st.session_state.pop(_TAKE_BACK, False):
        before = Corrections()
        begin_again()
    with st.container(key="gold-now"):  # stays in sight above the picture
        now = st.empty()
    made = correct(found, before)
    corrected = with_corrections(found, made)
    now.markdown(f"**{as_typed(_in_short(corrected))}**")
    _figures(corrected)
    base = _base(done)
    if made.items != base.measured.made_by_hand.items:
        try:
            done = _keep(base, corrected)
        except GraderError as error:  # it is tried again with the next correction, and on the way to another page
            problem(error, done.name)
    st.button(
        "Take back all corrections",
        icon=":material/undo:",
        disabled=not made,
        on_click=_take_back,
    )
    _save(done, corrected)


def _take_back() -> None:
    st.session_state[_TAKE_BACK] = True


def _in_short(corrected: Measurement) -> str:
    if corrected.gold is None:
        return f"Plated share of the frame: {format_share(float(corrected.coverage.share.mean() / 255))}"
    return f"Gold: {range_text(_range(corrected.gold.total), 'mg')}"


def _figures(corrected: Measurement) -> None:
    if corrected.area is None or corrected.gold is None:
        st.metric("Plated share of the frame", format_share(float(corrected.coverage.share.mean() / 255)))
    else:
        left, right = st.columns(2)
        with left:
            figure("Plated area", _range(corrected.area.total), "mm²")
        with right:
            figure("Gold in the visible plating", _range(corrected.gold.total), "mg")
    record = corrections_of(corrected)
    remark(correction_words(record) if record is not None else "Nothing was corrected yet.")


def _range(model: ProductModel) -> Range:
    return Range.of(model.draws())


def _base(done: Kept) -> Kept:
    base: Kept | None = st.session_state.get(_BASE)
    if base is None or base.sha256 != done.sha256:
        st.session_state[_BASE] = base = done
    return base


def _keep(base: Kept, corrected: Measurement) -> Kept:
    """Put the corrected measurement into the lot, so that whatever comes next reckons with it."""
    fresh = current_lot().put(replace(base, measured=Measured.of(corrected), overlay=overlay_png(corrected)))
    kept()[base.sha256] = st.session_state[_BASE] = fresh
    return fresh


def _save(done: Kept, corrected: Measurement) -> None:
    stem = PurePath(done.name).stem or "photo"
    with st.expander("Save the corrections", icon=":material/save:"):
        st.markdown("They are part of the measurement, and go into the log with it. As files of their own:")
        st.download_button(
            "Corrections (JSON)",
            json.dumps(_document(corrected), ensure_ascii=False) + "\n",
            file_name=f"{stem}-corrections.json",
            mime="application/json",
            on_click="ignore",
        )
        agreed = st.checkbox(
            "I agree that this photo and its corrected masks are made into training data.", key="desk-consent"
        )
        looked_over = st.checkbox(
            "I looked over the whole picture: what is marked is plated, and nothing else is.",
            key="desk-looked-over",
            disabled=not agreed,
            help="Otherwise only what you corrected counts as known, and what lies close to it.",
        )
        remark(
            "They are written into a ZIP file on your device, without place and time of the photo. Nothing is sent "
            "to anybody; whom you give it to is up to you."
        )
        st.download_button(
            "Training data (ZIP)",
            (lambda: training_zip(corrected, looked_over=looked_over)) if agreed else b"",
            file_name=f"{stem}-training.zip",
            mime="application/zip",
            disabled=not agreed,
            on_click="ignore",
        )


def _document(corrected: Measurement) -> dict[str, Any]:
    return Corrections(corrected.corrections.items, corrected.photo.sha256).as_json()
