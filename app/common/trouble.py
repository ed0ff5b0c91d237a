"""Errors of what a button or a field does: there nothing can be drawn, so that they are told when the page is."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec

import streamlit as st

from calibration.errors import GraderError

_TROUBLE = "desk-trouble"
_P = ParamSpec("_P")


def trouble(error: GraderError) -> None:
    """Remember an error until the page is drawn."""
    st.session_state[_TROUBLE] = error


def last_trouble() -> GraderError | None:
    """That error, once."""
    error: GraderError | None = st.session_state.pop(_TROUBLE, None)
    return error


def telling(act: Callable[_P, None]) -> Callable[_P, None]:
    """What a button or a field does, its error remembered."""

    @wraps(act)
    def told(*args: _P.args, **kwargs: _P.kwargs) -> None:
        try:
            act(*args, **kwargs)
        except GraderError as error:
            trouble(error)

    return told
