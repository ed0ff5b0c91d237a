"""Ask for confirmation of doubtful figures, beside their form."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from app.common.show import caution
from grader.valuation.doubts import Doubt


def believed(doubts: Sequence[Doubt], field: str = "") -> bool:
    """Show each doubt with a box to tick; True if all are ticked (or there are none).

    A tick holds only for that figure: a changed one is asked about again.

    Args:
        doubts: of the figures as they were typed.
        field: key of the field for a suggested figure; empty for none.
    """
    ticked = []
    for doubt in doubts:
        caution(doubt.notice)
        if doubt.suggested is not None and field:
            st.button(
                f"Take {doubt.suggested}",
                key=f"desk-take-{doubt.code}",
                on_click=_write,
                args=(field, doubt.suggested),
            )
        ticked.append(st.checkbox("It is right as it stands", key=f"desk-believed-{doubt.code}-{doubt.message}"))
    return all(ticked)


def _write(field: str, text: str) -> None:
    st.session_state[field] = text
