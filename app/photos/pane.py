"""The lot's photos with what was found on them, one at a time, and what is missing to measure them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from app.common.arrive import arrive
from app.common.show import as_typed, problem
from app.common.trouble import telling
from app.lots.desk import current_lot, desk, lot_key
from app.lots.lot_folder import Waiting
from app.lots.measuring import Order
from app.lots.shelf import Kept
from app.photos.adding import usual_request
from app.photos.picture import show_picture
from app.photos.progress import is_measuring
from app.scale.form import MARKED
from app.scale.on_photo import mark_known_size
from calibration.errors import GraderError, RefusedError
from grader.photo import load_photo, reduced
from grader.scale_choice import ScaleChoice

_SMALL_PX = 900
_SMALL, _MARKING = "desk-small-photos", "desk-marking-size"


def choose_photo(shelf: Sequence[Kept]) -> Kept:
    """The photo to show: the last measured one, until another one is chosen."""
    if len(shelf) == 1:
        return shelf[0]
    by_sha = {done.sha256: done for done in shelf}
    # a new key for a new photo on top, so that the one just measured is the one shown
    chosen = st.selectbox(
        "Photo shown", list(by_sha), format_func=lambda sha: by_sha[sha].name, key=f"shown-{shelf[0].sha256}"
    )
    return by_sha[chosen]


def show_overlay(done: Kept) -> None:
    """A measured photo with what was found on it; nothing while points are marked on it, on a picture of its own."""
    if not done.has_gold and st.session_state.get(_MARKING) == done.sha256:
        return
    with st.container(key="photo"):
        show_picture(done)


def show_waiting(photos: Sequence[Waiting]) -> None:
    """The first of the photos that are not measured yet, as it is."""
    if not photos:
        return
    picture = _small(photos[0])
    if picture is not None:
        with st.container(key="photo"):
            alt = f"The photo {photos[0].name}, not measured yet"
            st.image(picture, width="stretch", output_format="JPEG", alt=alt)


def ask_scale(done: Kept) -> None:
    """For a photo without scale: why, and the way to give it one, right there."""
    if done.has_gold:
        return
    refused = done.measured.refused
    if refused is not None and refused.code != "no-scale":
        problem(RefusedError(refused.code, refused.message, refused.advice))
    with st.container(key="no-scale", border=True):
        st.markdown(
            f"**How large are these boards?** Nothing of known size was recognised in {as_typed(done.name)}. "
            "One known length in the picture is enough."
        )
        if st.session_state.get(_MARKING) != done.sha256:
            st.button(
                "Mark something of known size",
                icon=":material/straighten:",
                type="primary",
                width="stretch",
                key="mark-size",
                on_click=_begin,
                args=(done.sha256,),
            )
            return
        if st.session_state.get("scale-way") in MARKED:
            st.markdown("A scale is being marked further up on this page.")
            return
        choice = mark_known_size(done.name, current_lot().photo(done.sha256) or b"", done.sha256[:12])
        st.button(
            "Measure with it",
            type="primary",
            width="stretch",
            key="measure-with-size",
            disabled=choice is None or is_measuring(),
            on_click=_measure,
            args=(done, choice),
        )


def _begin(sha256: str) -> None:
    st.session_state[_MARKING] = sha256
    arrive(".st-key-no-scale input")


@telling
def _measure(done: Kept, choice: ScaleChoice | None) -> None:
    if choice is None:
        return
    st.session_state.pop(_MARKING, None)
    desk().measure(lot_key(), [Order(done.name, done.sha256, replace(usual_request(), scale=choice), done.is_sample)])


def _small(photo: Waiting) -> NDArray[np.uint8] | None:
    """A small picture of a photo; None if it cannot be read. The last one is kept."""
    known: tuple[str, NDArray[np.uint8] | None] = st.session_state.get(_SMALL, ("", None))
    if known[0] != photo.sha256:
        data, picture = current_lot().photo(photo.sha256), None
        if data is not None:
            try:
                picture = reduced(load_photo(data, photo.name).rgb, _SMALL_PX)[0]
            except GraderError:
                picture = None
        known = (photo.sha256, picture)
        st.session_state[_SMALL] = known
    return known[1]
