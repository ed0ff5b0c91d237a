"""How figures are shown: chosen once, kept for all lots."""

from __future__ import annotations

from typing import cast, get_args

import streamlit as st

from grader.units import MassUnit

UNIT, CURRENCY = "mass-unit", "currency"  # keys of the fields


def currency() -> str:
    """The currency of amounts that are typed without one; empty where none was chosen."""
    return str(st.session_state.get(CURRENCY) or "")


def currency_hint() -> str:
    """A currency for examples in empty fields."""
    return currency() or "USD"


def mass_unit() -> MassUnit:
    """The unit in which masses of gold are shown."""
    unit = st.session_state.get(UNIT)
    return cast("MassUnit", unit) if unit in get_args(MassUnit) else "auto"
