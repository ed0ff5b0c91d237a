"""How far measuring is: each photo, the time left, and a way to stop."""

from __future__ import annotations

import html

import streamlit as st

from app.common.arrive import arrive
from app.lots.desk import desk, lot_key
from app.lots.measuring import Measuring
from app.lots.shelf import kept
from grader.report.words import STEP_WORDS

_EVERY_S = 1.0
_STEPS = tuple(STEP_WORDS)


def is_measuring() -> bool:
    """Whether photos of this lot are being measured."""
    row = desk().measuring(lot_key())
    return row is not None and not row.is_over


def show_progress() -> None:
    """Draw it again each second, and the whole page each time that a photo is done."""
    with st.container(key="measuring"):
        _progress(len(kept()), lot_key())


@st.fragment(run_every=_EVERY_S)
def _progress(shown: int, key: str) -> None:
    row = desk().measuring(key)
    if row is None or row.is_over or len(desk().lot(key).measured()) > shown:
        arrive(".st-key-no-scale, .st-key-photo")
        st.rerun()
    done = sum(turn.is_done for turn in row.turns)
    share = (done + _share_of_photo(row)) / len(row.turns)
    count = len(row.turns)
    measured = "Measuring the photo" if count == 1 else f"{done} of {count} photos are measured"
    st.progress(min(share, 1.0), f"{measured}. {_time_left(row)}")
    rows = "".join(f"<li>{html.escape(turn.order.name)}: {_words(row, n)}</li>" for n, turn in enumerate(row.turns))
    st.html(f'<ul class="plain">{rows}</ul>')
    if row.is_stopping:
        st.markdown("Stopping: the photo that was begun is measured to its end.")
    elif count > 1:
        st.button("Stop after this photo", key="stop-measuring", on_click=row.stop, icon=":material/stop_circle:")


def _share_of_photo(row: Measuring) -> float:
    """How much of the photo that is being measured is done, by its steps."""
    step = next((t.step for t in row.turns if not t.is_done and t.step is not None), None)
    return 0.0 if step is None else (_STEPS.index(step) + 0.5) / (len(_STEPS) + 1)


def _words(row: Measuring, number: int) -> str:
    turn = row.turns[number]
    if turn.error is not None:
        return f"not measured. {html.escape(turn.error.message)}"
    if turn.is_done:
        return "measured"
    if turn.step is not None:
        return f"{STEP_WORDS[turn.step]} …"
    return "waiting" if number > sum(t.is_done for t in row.turns) or row.is_stopping else "reading the photo …"


def _time_left(row: Measuring) -> str:
    left = row.seconds_left()
    if left is None:
        return "This usually takes some seconds for each photo."
    if left < 1:
        return "Nearly done."
    return f"About {round(left)} s left." if left < 100 else f"About {round(left / 60)} min left."
