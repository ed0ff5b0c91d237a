"""Several photos of one lot show the same boards: how far their comparison is, and what it says."""

from __future__ import annotations

import streamlit as st

from app.common.show import as_typed, problem
from app.common.trouble import telling
from app.lots.desk import current_lot, desk, lot_key
from app.lots.sheets import BoardSheet, Records, is_wanted, kept_sheet, made_of, want
from app.lots.way import link
from app.photos.progress import is_measuring

_EVERY_S = 1.0


def begin_matching() -> None:
    """Begin to compare the lot's photos, once all are measured; nothing where that is done, or failed."""
    if not is_measuring() and not current_lot().waiting():
        desk().matching(lot_key()).follow()


def show_matching(sheet: BoardSheet | None) -> None:
    """How far the comparison is, or why there is none; nothing where the sheet is in step."""
    work = desk().matching(lot_key())
    if work.error is not None and work.is_over:
        problem(work.error)
    elif sheet is None or sheet.made_of != made_of(current_lot()):
        with st.container(key="matching"):
            _progress("" if sheet is None else sheet.made_of, lot_key())


@st.fragment(run_every=_EVERY_S)
def _progress(shown: str, key: str) -> None:
    work, lot = desk().matching(key), desk().lot(key)
    sheet = kept_sheet(lot)
    begin_matching()
    if work.is_over and (work.error is not None or (sheet is not None and sheet.made_of != shown)):
        st.rerun()
    if lot.waiting() or work.total == 0 or is_measuring():
        st.markdown("The pictures are compared when all are measured.")
    elif work.done < work.total:
        st.progress(work.done / (work.total + 1), f"Looking for boards: {as_typed(work.name)}")
    else:
        st.progress(work.total / (work.total + 1), "Comparing the boards …")


def offer_together() -> Records | None:
    """The line on several photos of one lot: each board once, or photo by photo; and what a lot is made of then.

    Returns:
        The records of all boards, each once; None where photos count one by one, or there is no gold to count.
    """
    lot = current_lot()
    if lot.photo_count < 2:
        return None
    if not is_wanted(lot):
        with st.container(key="together"):
            st.button(
                "These pictures show the same boards: count each once",
                icon=":material/photo_library:",
                width="stretch",
                key="count-once",
                on_click=_want,
                args=(True,),
            )
        return None
    begin_matching()
    sheet = kept_sheet(lot)
    with st.container(key="together", border=True):
        if sheet is not None and sheet.made_of == made_of(lot):
            st.markdown(
                f"**{as_typed(sheet.count)} in {lot.photo_count} pictures, each counted once.** "
                "Look whether the right pictures are together."
            )
            link("sheet/page.py", "See which pictures show which board", ":material/grid_view:")
        else:
            show_matching(sheet)
        st.button("Count the boards of each picture instead", key="count-each", on_click=_want, args=(False,))
    return sheet.records if sheet is not None and sheet.records.each else None


@telling
def _want(wanted: bool) -> None:
    want(current_lot(), wanted=wanted)
