"""Ask for confirmation of an entry that looks wrong: the form stays, with a box to tick."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import streamlit as st

from app.common.show import caution
from app.lots.keep import read_log
from calibration.notices import Notice
from grader.learn.questions import Asker

_SURE = "It is right: keep it all the same"


def sure_of(form: str) -> bool:
    """Draw the questions about the form's last entry, inside the form; True if the user confirms it."""
    questions, _ = st.session_state.get(_key(form), ((), ""))
    for each in questions:
        caution(each)
    return bool(questions) and st.checkbox(_SURE, key=f"{form}-sure")


def ask_first(form: str, entry: object, ask: Callable[[Asker], tuple[Notice, ...]], *, sure: bool) -> None:
    """Go on if there is no question, or if this same entry was asked about and the user is sure; otherwise ask.

    Args:
        form: key of the form.
        entry: everything that was entered; a changed entry is asked about again.
        ask: returns the questions.
        sure: result of ``sure_of``.
    """
    _, asked_about = st.session_state.get(_key(form), ((), ""))
    if sure and asked_about == repr(entry):
        del st.session_state[_key(form)]
        return
    questions = read_log(lambda log: ask(Asker(log.contents(), date.today())))
    if questions:
        st.session_state[_key(form)] = questions, repr(entry)
        st.rerun()
    st.session_state.pop(_key(form), None)


def _key(form: str) -> str:
    return f"{form}-questions"
