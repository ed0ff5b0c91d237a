"""What the lot holds: which part each photo shows, and how much of it is for sale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import streamlit as st

from app.common.show import as_typed, remark
from app.scale.form import read
from app.value.plating_form import ask_plating
from grader.lot import Lot, PartText, SightText, lot_of
from grader.lot.pairs import Suggestion, suggest_pairs
from grader.measured import Measured
from grader.units import parse_mass_g

_FRONT = "a front"
_REASONS = {"names": "by their names", "outlines": "by outline and order: check it"}
_FACES = {"left_out": "Left out: only faces in the photos count", "alike": "Assumed alike, with a range"}


@dataclass(frozen=True)
class _Shown:
    """What one photo was said to show; ``back_of`` is the sha256 of the photo of the other face.

    ``boards`` is None where nobody counted them.
    """

    sha256: str
    part: str
    back_of: str | None
    boards: int | None
    weighed: str


def ask_lot(measured: Sequence[Measured]) -> Lot | None:
    """The lot as the user describes it; None while an entry is wrong, which is said beside it.

    Raises:
        UsageError: the entries contradict each other, as ``lot_of``.
    """
    shown, good = [], True
    with st.expander("What do the photos show?", icon=":material/photo_library:", expanded=len(measured) > 1):
        _suggest(measured)
        for m in measured:
            if len(measured) > 1:
                st.markdown(f"**{as_typed(m.photo)}**")
            one, fine = _ask_photo(m, measured)
            shown.append(one)
            good = good and fine
    part_of = {s.sha256: s.part for s in shown}
    shown = [s if s.back_of is None else replace(s, part=part_of[s.back_of]) for s in shown]
    several, texts = len({s.part for s in shown}) > 1, []
    for name in dict.fromkeys(s.part for s in shown):
        of_part = [s for s in shown if s.part == name]
        text = _ask_part(name, of_part, alone=not several)
        known = ask_plating(name, [m for m in measured if m.sha256 in {s.sha256 for s in of_part}])
        good = good and known.fine
        texts.append(
            replace(text, kind=known.kind, designs=known.designs, picked=known.picked, thickness=known.thickness)
        )
    return lot_of(texts, measured) if good else None


def _suggest(measured: Sequence[Measured]) -> None:
    """Photos that look like two faces of the same boards, to be taken or not."""
    fresh = [
        s
        for s in suggest_pairs(measured)
        if all(st.session_state.get(_key("shows", m), _FRONT) == _FRONT for m in (s.front, s.back))
    ]
    if not fresh:
        return
    st.markdown("These look like front and back of the same boards. Taken as pairs, their boards count once.")
    for s in fresh:
        remark(f"{s.front.photo} and {s.back.photo} ({_REASONS[s.reason]})")
    st.button("Take them as pairs", icon=":material/link:", on_click=_pair, args=(fresh,))


def _pair(suggested: Sequence[Suggestion]) -> None:
    for s in suggested:
        st.session_state[_key("shows", s.back)] = s.front.sha256


def _key(what: str, m: Measured) -> str:
    return f"{what}-{m.sha256[:12]}"


def _ask_photo(m: Measured, measured: Sequence[Measured]) -> tuple[_Shown, bool]:
    part, back_of = "the boards", None
    if len(measured) > 1:
        left, right = st.columns(2)
        with left:
            part = (
                st.text_input("Part", key=_key("part", m), value="the boards", persist_state="session").strip()
                or "the boards"
            )
        with right:
            others = {other.sha256: f"the back of {other.photo}" for other in measured if other.sha256 != m.sha256}
            chosen = st.selectbox(
                "Shows",
                [_FRONT, *others],
                format_func=lambda sha: others.get(sha, _FRONT),
                key=_key("shows", m),
                persist_state="session",
            )
            back_of = chosen if chosen != _FRONT else None
    if back_of is not None:
        return _Shown(m.sha256, part, back_of, 1, ""), True
    left, right = st.columns(2)
    with left:
        boards = st.number_input(
            "Boards in this photo",
            min_value=1,
            value=m.likely_boards.value,
            step=1,
            key=_key("boards", m),
            persist_state="session",
        )
        is_counted = st.checkbox(
            f"I counted them (outlines: {m.likely_boards.words()})",
            key=_key("counted", m),
            persist_state="session",
        )
    with right:
        weighed = st.text_input(
            "Their weight (optional)", key=_key("weighed", m), placeholder="72 g", persist_state="session"
        )
    _, fine = read(weighed, parse_mass_g)
    told = m.likely_boards.is_exact or is_counted or boards != m.likely_boards.value
    return _Shown(m.sha256, part, None, int(boards) if told else None, weighed.strip()), fine


def _ask_part(name: str, shown: Sequence[_Shown], *, alone: bool) -> PartText:
    if not alone:
        st.markdown(f"**{as_typed(name)}**")
    left, right = st.columns(2)
    with left:
        count = st.text_input(
            "Boards in the lot (empty: those in the photos)",
            key=f"count-{name}",
            placeholder="30, or 28..32",
            persist_state="session",
        )
    with right:
        mass = st.text_input(
            "Or their stated mass", key=f"mass-{name}", placeholder="5 kg, or 4.5..5 kg", persist_state="session"
        )
    backs = {s.back_of: s.sha256 for s in shown if s.back_of is not None}
    other_face = "left_out"
    if not backs:
        other_face = st.selectbox(
            "Faces that no photo shows",
            list(_FACES),
            format_func=lambda face: _FACES[face],
            key=f"face-{name}",
            persist_state="session",
        )
    fronts = tuple(
        SightText(s.sha256, backs.get(s.sha256, ""), s.boards, s.weighed) for s in shown if s.back_of is None
    )
    return PartText(name, fronts, count.strip(), mass.strip(), other_face)
