"""A page of nothing but the picture component, on a drawn photo: run by Streamlit, looked at by the browser tests.

What the component gave is written out as JSON, so that a test reads it as the page would.
"""

from __future__ import annotations

import json

import numpy as np
import streamlit as st

from app.photo_view import History, begin_again, correcting_picture, mark_points
from grader.correct.measured import correct as with_corrections
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import GOLD, GREEN_MASK, KnownCoverage, box, contact_row, paint, union_share

SHAPE = (600, 800)
PX_PER_MM = 8.0
CONTACTS = contact_row((100.0, 100.0), 8, 60.0, (40.0, 120.0))
PAD = box((600.0, 400.0), 120.0, 100.0)


def drawn() -> Measurement:
    """Eight contacts and a pad on green; the pad and the last contact belong to no row's finish alike."""
    share = union_share([*CONTACTS, PAD], SHAPE)
    rgb = paint([(np.ones(SHAPE), GREEN_MASK), (share, GOLD)])
    photo = Photo("drawn.png", "ab" * 32, rgb, "PNG")
    scale = ByLength(100 / PX_PER_MM, (10.0, 10.0), (110.0, 10.0))
    return measure(photo, Request(scale, segmenter=KnownCoverage(share, np.ones(SHAPE, bool))))


def page() -> None:
    """Either job of the component."""
    st.set_page_config(layout="centered")
    if "found" not in st.session_state:
        st.session_state["found"] = drawn()
    found: Measurement = st.session_state["found"]
    if "mark" in st.query_params:
        labels = [f"Corner {n}" for n in range(1, int(st.query_params["mark"]) + 1)]
        x = st.number_input("Corner 1, x px", value=None, key="typed")
        before = st.session_state.get("marks", ())
        if before and before[0] is not None and x is not None and x != st.session_state.get("was"):
            before = ((x, before[0][1]), *before[1:])
        st.session_state["was"] = x
        marks = mark_points(found.photo, labels, before, closed=True)
        st.session_state["marks"] = marks
        st.html(f"<pre id='out' style='white-space: pre-wrap; overflow-wrap: anywhere'>{json.dumps(marks)}</pre>")
        return
    if st.button("Begin again"):
        st.session_state.pop("history", None)
        begin_again()
    _correcting(found)


@st.fragment
def _correcting(found: Measurement) -> None:
    def heard(history: History, *, is_current: bool) -> None:
        assert is_current
        st.session_state["history"] = history

    correcting_picture(found, st.session_state.get("history", History()), heard)
    history = st.session_state.get("history", History())
    corrected = with_corrections(found, history.done)
    area = sum(term.coefficient for term in corrected.area.total.terms) if corrected.area is not None else None
    out = {
        "items": history.done.as_json()["corrections"],
        "undone": history.undone.as_json()["corrections"],
        "area_mm2": area,
    }
    st.html(f"<pre id='out' style='white-space: pre-wrap; overflow-wrap: anywhere'>{json.dumps(out)}</pre>")


page()
