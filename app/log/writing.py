"""A form's entry goes into the log: what is wrong is told, what looks wrong is asked about first."""

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
    """The form's key: another one after each entry, so that its fields are empty again, but not after an error."""
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
        entry: makes it of what was typed.
        put: writes it, and says what was written.
        ask: gives what looks wrong.
        about: what else the entry is about; another one is asked about again.
        sure: that the user has said that it is right.
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
