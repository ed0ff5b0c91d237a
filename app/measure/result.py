"""One measured photo as a person reads it: the picture, the figures, their basis, what to mind."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import PurePath

import streamlit as st

from app.common.preferences import mass_unit
from app.common.show import (
    as_typed,
    bars,
    caution,
    heading,
    range_text,
    remark,
    split_range,
    table,
    told_figure,
    visible_only,
)
from app.lots.shelf import Kept
from app.measure.retake import show_checks
from calibration.finishes import FINISH_WORDS
from grader.measured import Measured, MeasuredBoard
from grader.report.wide import wide_sentences
from grader.report.words import learned_sources, plating_words, row_words, scale_words, told_finishes, unknown_lines
from grader.units import format_share, together


def show_result(done: Kept) -> None:
    """Show one measurement."""
    measured = done.measured
    refused = measured.refused
    heading(done.name)
    retake = show_checks(measured)
    if done.has_gold:
        _figures(measured)
        _why_wide(measured)
    else:
        st.metric("Plated share of the frame", format_share(measured.plated_share_of_frame or 0.0))
        st.markdown("Without a scale there is no area in mm² and no gold in mg.")
    count = len(measured.boards)
    with st.expander(f"By finish, boards ({count}) and rows of contacts", icon=":material/developer_board:"):
        if done.has_gold:
            _by_finish(measured)
        _boards(measured.boards)
    said = {*retake, *([refused.code] if refused is not None else [])}
    for warning in measured.warnings:
        if warning.code not in said:
            caution(warning)
    _downloads(done)
    visible_only(measured.statement)


def show_all(shelf: Sequence[Kept]) -> None:
    """Show one line for each measured photo."""
    table(
        ("Photo", "Plated area", "Gold"),
        [
            (
                done.name,
                *(plating_words(done.measured, mass_unit()) if done.has_gold else ("no scale", "")),
            )
            for done in shelf
        ],
    )


def _figures(measured: Measured) -> None:
    area, gold = plating_words(measured, mass_unit())
    left, right = st.columns(2)
    with left:
        told_figure("Plated area", area)
    with right:
        told_figure("Gold in the visible plating", gold)
    for source in learned_sources(measured):
        remark(f"Thickness: {source}. So this is the gold that your process recovers.")
    if measured.scale is not None:
        remark(f"{scale_words(measured.scale)}.")


def _by_finish(measured: Measured) -> None:
    found = told_finishes(measured)
    if not found:
        st.markdown("No gold plating was found.")
        return
    table(
        ("Finish", "Plated area", "Gold"),
        [
            (
                FINISH_WORDS[f],
                together(range_text(each.area_mm2, "mm²")),
                together(range_text(each.gold_mg, "mg")),
            )
            for f, each in found
        ],
    )


def _boards(boards: Sequence[MeasuredBoard]) -> None:
    if not boards:
        return
    rows = []
    for number, board in enumerate(boards, 1):
        size = (
            split_range(board.area_mm2, "mm²")[0]
            if board.area_mm2 is not None
            else f"{format_share(board.plated_share or 0.0)} of it plated"
        )
        rows.append((str(number), size, "; ".join(map(row_words, board.contacts)) or "none found"))
    table(("Board", "Outline holds", "Rows seen"), rows)


def _why_wide(measured: Measured) -> None:
    sentences = wide_sentences(measured)
    if not sentences:
        return
    st.markdown(as_typed(" ".join(sentences[:2])))
    with st.expander("Why the range is so wide, and what narrows it", icon=":material/swap_horiz:"):
        for sentence in sentences[2:]:
            st.markdown(as_typed(sentence))
        bars([(title, share, "") for title, share in unknown_lines(measured)])


def _downloads(done: Kept) -> None:
    stem = PurePath(done.name).stem or "photo"
    with st.container(horizontal=True):
        st.download_button(
            "Measurement (JSON)",
            json.dumps(done.measured.to_dict(), ensure_ascii=False, allow_nan=False) + "\n",
            file_name=f"{stem}.json",
            mime="application/json",
            on_click="ignore",
        )
        st.download_button(
            "Picture (PNG)", done.overlay, file_name=f"{stem}-overlay.png", mime="image/png", on_click="ignore"
        )
