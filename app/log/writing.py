"""Write a form's entry into the log: report errors, and ask about doubtful figures first."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from app.common.show import problem
from app.lots.asking import ask_first
from app.lots.keep import write_log
from calibration.errors import UsageError
from calibration.notices import Notice
from grader.learn.questions import Asker
from grader.log import Log

_T = TypeVar("_T")


def fresh(form: str) -> str:
    """The form's key, which changes after each entry so that its fields are emptied, but not after an error."""
    return f"{form}-{st.session_state.get(f'{form}-entries', 0)}"


def write(
    form: str,
    entry: Callable[[], _T],
    put: Callable[[Log, _T], str],
    ask: Callable[[Asker, _T], tuple[Notice, ...]] | None = None,
    about: object = None,
    *,
    sure: bool = False,
) -> None:
    """Write a form's entry into the log.

    Args:
        form: its name.
        entry: makes the entry from what was typed.
        put: writes it, and returns a message.
        ask: returns what looks wrong.
        about: further context of the entry; a change is asked about again.
        sure: whether the user confirmed it.
    """
    try:
        new = entry()
    except UsageError as error:
        problem(error)
        return
    if ask is not None:
        ask_first(fresh(form), (new, about), lambda asker: ask(asker, new), sure=sure)
    if write_log(lambda log: put(log, new)):
        st.session_state[f"{form}-entries"] = st.session_state.get(f"{form}-entries", 0) + 1
        st.rerun()
