"""Charts in the page's own colours."""

from __future__ import annotations

from typing import Any

import streamlit as st

_WORDS_ON_LIGHT, _WORDS_ON_DARK = "#3c4742", "#c6d0ca"


def draw_chart(chart: Any) -> None:
    """Draw a chart as wide as the page, with text as readable as the text around it."""
    words = _WORDS_ON_DARK if st.context.theme.type == "dark" else _WORDS_ON_LIGHT
    chart = chart.configure_axis(labelColor=words, titleColor=words).configure_legend(labelColor=words)
    st.altair_chart(chart, width="stretch")
