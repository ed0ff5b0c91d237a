"""Display preferences: chosen once, kept for all lots."""

from __future__ import annotations

from typing import cast, get_args

import streamlit as st

from grader.units import MassUnit, currency_codes

_UNIT, _CURRENCY = "mass-unit", "currency"
_WORDS: dict[MassUnit, str] = {
    "auto": "mg or g, whichever reads best",
    "mg": "milligrams (mg)",
    "g": "grams (g)",
    "ozt": "troy ounces (ozt)",
    "dwt": "pennyweights (dwt)",
}


def ask_preferences() -> None:
    """Draw the fields."""
    st.selectbox(
        "Gold is shown in",
        get_args(MassUnit),
        format_func=lambda unit: _WORDS[unit],
        key=_UNIT,
        persist_state="session",
    )
    st.selectbox(
        "Amounts without a currency are in",
        ["", *currency_codes()],
        format_func=lambda code: code or "none: I always write it",
        key=_CURRENCY,
        persist_state="session",
    )


def chosen_currency() -> str:
    """The currency of amounts typed without one; empty if none was chosen."""
    return str(st.session_state.get(_CURRENCY) or "")


def currency_hint() -> str:
    """A currency for examples in empty fields."""
    return chosen_currency() or "USD"


def mass_unit() -> MassUnit:
    """The unit for masses of gold."""
    unit = st.session_state.get(_UNIT)
    return cast("MassUnit", unit) if unit in get_args(MassUnit) else "auto"
