"""What is known about a part's plating: its kind, who chose the boards shown, and what was stated or measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import streamlit as st

from app.scale.form import read
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, board_kind
from grader.lot.kinds import proposed_kind
from grader.lot.told import read_told
from grader.measured import Measured

_NOT_SAID = ""
_DESIGNS = {"one": "All of one design", "many": "Of many designs, whose plating evens out"}
_PICKED = {
    "not_said": "Nobody said",
    "seller": "The seller",
    "blindly": "Nobody: taken as they lay, unseen",
    "mine": "I did, to be like the others",
}


@dataclass(frozen=True)
class PlatingTexts:
    """The entries as chosen and typed; ``can_be_read`` is False if a line cannot be read."""

    kind: str = ""
    designs: str = ""
    picked: str = ""
    thickness: tuple[str, ...] = ()
    can_be_read: bool = True


NOTHING_SAID = PlatingTexts()


def ask_plating(name: str, photos: Sequence[Measured]) -> PlatingTexts:
    """Ask; report entries that cannot be read beside their field."""
    proposed = proposed_kind(photos)
    left, right = st.columns(2)
    with left:
        kind = st.selectbox(
            "Kind of boards",
            [_NOT_SAID, *KINDS_OF_BOARDS],
            format_func=_kind_words,
            key=f"kind-{name}",
            persist_state="session",
            help=None if proposed is None else f"The contacts look like those of {board_kind(proposed).words}.",
        )
        designs = st.selectbox(
            "Their designs",
            list(_DESIGNS),
            format_func=lambda d: _DESIGNS[d],
            key=f"designs-{name}",
            persist_state="session",
        )
    with right:
        picked = st.selectbox(
            "Who chose the boards in the photos?",
            list(_PICKED),
            format_func=lambda p: _PICKED[p],
            key=f"picked-{name}",
            persist_state="session",
        )
        typed = st.text_area(
            "What is known of the plating (a line each)",
            key=f"plating-{name}",
            placeholder="stated 30 uin\nxrf 0.72 ± 0.05 um\nstrip 412 mg of 20 boards",
            persist_state="session",
        )
    lines = tuple(line.strip() for line in typed.splitlines() if line.strip())
    read_lines = [read(line, read_told)[1] for line in lines]  # each, so that each error is shown
    return PlatingTexts(kind, designs, picked, lines, all(read_lines))


def _kind_words(key: str) -> str:
    if key == _NOT_SAID:
        return "As measured"
    return "I do not know" if key == UNKNOWN else board_kind(key).words.capitalize()
