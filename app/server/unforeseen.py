"""The page's own message for a defect in its program; no details of the error are sent."""

from __future__ import annotations

import streamlit as st


def tell_unforeseen(error: Exception) -> bool:
    """Show the message. Its details are written to where the page was started, before this is called.

    Args:
        error: the unforeseen error.

    Returns:
        True: the error was shown, so that the toolkit shows nothing.
    """
    st.error(
        f"**This should not have happened: a defect in the program ({type(error).__name__}).**\n\n"
        "Your lots, photos and figures are kept. Load this page again, and try another photo or other values. "
        "The details stand in the window in which the page was started.",
        icon=":material/error:",
    )
    return True
