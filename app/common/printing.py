"""The printable scale target, and the measured length of its check bar."""

from __future__ import annotations

from functools import partial
from typing import get_args

import streamlit as st

from app.common.show import problem
from calibration.errors import UsageError
from calibration.print_check import PrintCheck, load_print_check, save_print_check
from calibration.target import Paper
from calibration.target_pdf import target_pdf
from grader.photo_advice.how_to_pdf import how_to_pdf
from grader.places import print_check_path
from grader.units import parse_length_mm

_PAPERS: dict[Paper, str] = {"a4": "A4", "letter": "Letter"}


def ask_print() -> None:
    """Offer downloads of the target, and ask for its measured bar."""
    st.markdown("Print it at 100 %, lay it flat beside the boards, and photograph both from straight above.")
    with st.container(horizontal=True):
        for paper in get_args(Paper):
            st.download_button(
                f"Target for {_PAPERS[paper]} (PDF)",
                partial(target_pdf, paper),
                file_name=f"target-{paper}.pdf",
                mime="application/pdf",
                on_click="ignore",
                key=f"target-{paper}",
            )
    st.download_button(
        "How to photograph boards (PDF)",
        partial(how_to_pdf, "a4"),
        file_name="how-to-photograph.pdf",
        mime="application/pdf",
        on_click="ignore",
        key="how-to",
    )
    st.markdown("Printers change the size a little: measure the 100 mm check bar with a rule and store its length.")
    with st.form("check-bar", border=False, enter_to_submit=True):
        text = st.text_input("The check bar as printed", placeholder="99.4 mm")
        stored = st.form_submit_button("Store")
    try:
        if stored:
            save_print_check(PrintCheck(parse_length_mm(text)), print_check_path())
        check = load_print_check(print_check_path())
    except UsageError as error:
        problem(error)
        return
    if check is not None:
        st.markdown(f"Stored: {check.bar_mm:.2f} mm. Photos that you measure from now on use it.")
