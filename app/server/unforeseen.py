"""What the page says where its program has a defect: in its own words, and nothing of what went wrong is sent on."""

from __future__ import annotations

import streamlit as st


def tell_unforeseen(error: Exception) -> bool:
    """Show it. Its details are written to where the page was started, before this is called.

    Args:
        error: that nobody foresaw.

    Returns:
        That it was told, so that the toolkit says nothing.
    """
    st.error(
        f"**This should not have happened: a defect in the program ({type(error).__name__}).**\n\n"
        "Your lots, photos and figures are kept. Load this page again, and try another photo or other values. "
        "The details stand in the window in which the page was started.",
        icon=":material/error:",
    )
    return True
