"""Errors in callbacks of buttons and fields, where nothing can be drawn: they are shown with the page."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec

import streamlit as st

from calibration.errors import GraderError

_TROUBLE = "desk-trouble"
_P = ParamSpec("_P")


def trouble(error: GraderError) -> None:
    """Store an error until the page is drawn."""
    st.session_state[_TROUBLE] = error


def last_trouble() -> GraderError | None:
    """Return that error, once."""
    error: GraderError | None = st.session_state.pop(_TROUBLE, None)
    return error


def telling(act: Callable[_P, None]) -> Callable[_P, None]:
    """Wrap a callback so that its error is stored."""

    @wraps(act)
    def told(*args: _P.args, **kwargs: _P.kwargs) -> None:
        try:
            act(*args, **kwargs)
        except GraderError as error:
            trouble(error)

    return told
