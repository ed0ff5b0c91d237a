"""Correct a measured photo by hand: its picture with tools, figures that follow at once, and downloads."""

from __future__ import annotations

import json
import secrets
from contextlib import suppress
from dataclasses import replace
from pathlib import PurePath
from typing import Any

import streamlit as st

from app.common.show import as_typed, figure, heading, problem, range_text, remark
from app.common.trouble import last_trouble, telling
from app.lots.desk import current_lot, desk
from app.lots.shelf import Kept, kept
from app.photo_view import History, begin_again, close_picture, correcting_picture
from calibration.errors import GraderError, PhotoError
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

_OPEN, _FOUND = "desk-correcting", "desk-correcting-found"
_BY = "desk-correcting-by"  # this window's mark
_HEARD = "desk-correcting-heard"  # the history of the picture in this window, once something was done on it
_BASE = "desk-correcting-base"  # the measurement that the corrections on the picture build on


def this_window() -> str:
    """The mark that distinguishes the steps made in this window from those of another one."""
    return str(st.session_state.setdefault(_BY, secrets.token_hex(4)))


def is_correcting(done: Kept) -> bool:
    """Whether the photo is open for correction."""
    return bool(st.session_state.get(_OPEN) == done.sha256)


def offer_correcting(done: Kept) -> None:
    """Offer to correct the photo, and show earlier corrections."""
    record = done.measured.corrections
    if record is not None:
        remark(correction_words(record))
    st.button(
        "Correct what was found", icon=":material/brush:", key="open-correcting", on_click=_open, args=(done.sha256,)
    )


def show_correcting(done: Kept) -> None:
    """Show the photo with its tools in place of the result, until it is closed."""
    heading(done.name)
    try:
        found = _found(done)
    except GraderError as error:
        problem(error, done.name)
        st.button("Back to the result", on_click=_close)
        return
    _bench(done.sha256, found)
    st.button("Back to the result", type="primary", width="stretch", key="close-correcting", on_click=_close)
    remark(done.measured.statement)


def settle_corrections() -> None:
    """Update measurements after corrections by hand, and an open picture after corrections in another window.

    Each step is kept when it is made, which takes no time; the measurement takes some time, and the page may move on
    before it is finished. Call this before anything is drawn, on every page.
    """
    for sha256 in list(kept()):
        with suppress(PhotoError):  # without its photo, nothing more can be computed
            for path, aside in current_lot().unsettled(sha256):
                _settle(sha256, aside)
                path.unlink(missing_ok=True)
            history = current_lot().history(sha256)
            if history is not None:
                _settle(sha256, history)
    opened, base = kept().get(st.session_state.get(_OPEN, "")), st.session_state.get(_BASE)
    if opened is not None and base is not None and opened.stamp != base.stamp:
        _follow(opened)


def _follow(opened: Kept) -> None:
    """Restart the open picture with what is kept of its photo."""
    begin_again()
    st.session_state[_BASE] = opened
    st.session_state.pop(_HEARD, None)


@telling
def _open(sha256: str) -> None:
    st.session_state[_OPEN] = sha256
    st.session_state.pop(_BASE, None)


@telling
def _close() -> None:
    for key in (_OPEN, _BASE, _HEARD):
        st.session_state.pop(key, None)
    close_picture()


def _found(done: Kept) -> Measurement:
    """The findings on the photo, searched once more, because only one photo is kept as arrays.

    Raises:
        PhotoError: the photo is gone, or is not a photo.
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


def _history(done: Kept) -> History:
    """The corrections of a photo by hand: those of this window, otherwise those that are kept."""
    heard: History | None = st.session_state.get(_HEARD)
    return heard or current_lot().history(done.sha256) or History(done.measured.made_by_hand)


@st.fragment
def _bench(sha256: str, found: Measurement) -> None:
    """Draw the correction area, again after each correction: figures first, then the slower parts."""
    done = kept()[sha256]
    base: Kept = st.session_state.setdefault(_BASE, done)

    def heard(history: History, *, is_current: bool) -> None:
        # it is not known what an ended picture had seen: later changes are kept beside it
        on = st.session_state.get(_BASE, base).stamp if is_current else None
        st.session_state[_HEARD] = made = replace(history, on=on, by=this_window())
        current_lot().keep_history(sha256, made)

    with st.container(key="gold-now"):  # stays in sight above the picture
        now = st.empty()
    correcting_picture(found, _history(done), heard)
    history = _history(done)
    corrected = with_corrections(found, history.done)
    now.markdown(f"**{as_typed(_in_short(corrected))}**")
    _figures(corrected)
    try:
        st.session_state[_BASE] = done = _settle(sha256, history, corrected)
    except GraderError as error:  # tried again with the next correction, and on the way to another page
        problem(error, done.name)
    if (trouble := last_trouble()) is not None:
        problem(trouble, done.name)
    _save(done, corrected)


def _settle(sha256: str, history: History, corrected: Measurement | None = None) -> Kept:
    """The photo's measurement, updated after the corrections by hand.

    Args:
        sha256: of the photo.
        history: the corrections.
        corrected: the measurement with them, if it was computed already.

    Raises:
        PhotoError, UsageError: as ``_found``; it cannot be written to disk.
    """
    done = kept()[sha256]
    if history.done.items == done.measured.made_by_hand.items:
        return done
    if corrected is None:
        corrected = with_corrections(_found(done), history.done)
    with desk().settling:
        now = current_lot().measured().get(sha256, done)
        if now.measured.made_by_hand.items == history.done.items:  # another window was faster
            fresh = now
        else:
            record, overlay = Measured.of(corrected), overlay_png(corrected)
            fresh = current_lot().put(replace(done, measured=record, overlay=overlay, stamp=history.on))
    kept()[sha256] = fresh
    return fresh


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
