"""Is this gold? One uncertain place at a time, answered with one tap."""

from __future__ import annotations

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from app.common.show import remark
from app.common.trouble import telling
from app.lots.desk import current_lot
from app.lots.shelf import Kept, kept
from app.measure.correct_form import this_window
from app.photo_view import History
from calibration.errors import PhotoError
from grader.correct import Confirmed, Correction, Corrections, LeftOut
from grader.measured.parts import Unsure
from grader.photo import load_photo
from grader.units import format_share

_SKIPPED = "desk-not-asked-again"  # places that a person could not judge, by photo and place
_CROP = "desk-asked-about"  # the picture of the place shown, by photo and place
_LEAST_PX = 320


def ask_about(done: Kept) -> None:
    """Ask the next question about a photo, if there is one."""
    skipped: set[object] = st.session_state.setdefault(_SKIPPED, set())
    open_ = [place for place in done.measured.unsure if _key(done, place) not in skipped]
    if not open_:
        return
    place = open_[0]
    try:
        crop = _crop(done, place)
    except PhotoError:  # without its photo, there is nothing to look at
        return
    with st.container(border=True, key="is-this-gold"):
        st.markdown("**Is this gold?**")
        st.image(crop, width=_LEAST_PX)
        with st.container(horizontal=True):
            _answer_button("Yes", done, Confirmed(place.at_px[0], place.at_px[1:]))
            _answer_button("No", done, LeftOut(place.at_px[0], place.at_px[1:]))
            st.button("I cannot tell", key="gold-unknown", on_click=_skip, args=(_key(done, place),))
        more = f" {len(open_) - 1} more to ask." if len(open_) > 1 else ""
        remark(f"The program is not sure. It is {format_share(place.share)} of what was found.{more}")


def _answer_button(words: str, done: Kept, answer: Correction) -> None:
    st.button(words, key=f"gold-{words.lower()}", on_click=_answer, args=(done.sha256, answer))


@telling
def _answer(sha256: str, answer: Correction) -> None:
    """Keep an answer as a correction; the measurement follows before the page is drawn again."""
    done = kept()[sha256]
    before = current_lot().history(sha256) or History(done.measured.made_by_hand)
    made = Corrections((*before.done.items, answer), sha256)
    current_lot().keep_history(sha256, History(made, on=done.stamp, by=this_window()))


def _skip(key: object) -> None:
    st.session_state[_SKIPPED].add(key)


def _key(done: Kept, place: Unsure) -> tuple[str, tuple[float, float]]:
    return done.sha256, place.at_px[0]


def _crop(done: Kept, place: Unsure) -> NDArray[np.uint8]:
    """The place with its surroundings, kept while the question is open.

    Raises:
        PhotoError: the photo is gone, or is not a photo.
    """
    crop: NDArray[np.uint8]
    known, crop = st.session_state.get(_CROP, (None, np.zeros((0, 0, 3), np.uint8)))
    if known != _key(done, place):
        data = current_lot().photo(done.sha256)
        if data is None:
            raise PhotoError("photo-missing", "The photo has been removed.", "Choose and measure it again.")
        left, top, right, bottom = place.box_px
        crop = load_photo(data, done.name).rgb[top:bottom, left:right].copy()
        st.session_state[_CROP] = _key(done, place), crop
    return crop
