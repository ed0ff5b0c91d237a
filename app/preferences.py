"""How figures are shown: chosen once, kept for all lots."""

from __future__ import annotations

from typing import cast, get_args

import streamlit as st

from grader.units import MassUnit

_UNIT = "mass-unit"
_WORDS: dict[MassUnit, str] = {
    "auto": "mg or g, whichever reads best",
    "mg": "milligrams (mg)",
    "g": "grams (g)",
    "ozt": "troy ounces (ozt)",
    "dwt": "pennyweights (dwt)",
}


def ask_preferences() -> None:
    """The fields."""
    st.selectbox(
        "Gold is shown in",
        get_args(MassUnit),
        format_func=lambda unit: _WORDS[unit],
        key=_UNIT,
        persist_state="session",
    )


def mass_unit() -> MassUnit:
    """The unit in which masses of gold are shown."""
    unit = st.session_state.get(_UNIT)
    return cast("MassUnit", unit) if unit in get_args(MassUnit) else "auto"
