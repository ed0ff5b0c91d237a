"""The fields for how figures are shown."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from app.common.own_money import ask_rate
from app.common.preferences import CURRENCY, UNIT, currency
from grader.units import MassUnit, currency_codes

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
        key=UNIT,
        persist_state="session",
    )
    st.selectbox(
        "Amounts without a currency are in",
        ["", *currency_codes()],
        format_func=lambda code: code or "none: I always write it",
        key=CURRENCY,
        persist_state="session",
    )
    ask_rate(currency())
