"""The contents of the lot: the part that each photo shows, and how much of it is for sale."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import streamlit as st

from app.common.show import as_typed, remark
from app.lots.sheets import Records
from app.scale.form import read
from app.value.plating_form import NOTHING_SAID, PlatingTexts, ask_plating
from grader.lot import Lot, PartText, SightText, lot_of
from grader.lot.pairs import Suggestion, suggest_pairs
from grader.measured import Measured
from grader.units import parse_mass_g

_FRONT = "a front"
_BOARDS = "the boards"
_REASONS = {"names": "by their names", "outlines": "by outline and order: check it"}
_FACES = {"left_out": "Left out: only faces in the photos count", "alike": "Assumed alike, with a range"}


@dataclass(frozen=True)
class LotPhoto:
    """The description of one photo.

    Attributes:
        sha256: of the photo.
        part: the part that it shows.
        back_of: sha256 of the photo of the other face; None for a front.
        boards: their number in the photo; None if nobody counted them.
        weighed: their mass, as typed.
        other_face: of its part, for boards whose other face is in no photo.
        plating: what is known about the plating of its part.
    """

    sha256: str
    part: str
    back_of: str | None
    boards: int | None
    weighed: str
    other_face: str = "left_out"
    plating: PlatingTexts = NOTHING_SAID


@dataclass(frozen=True)
class ShownPhotos:
    """The descriptions of all photos.

    Attributes:
        photos: the description of each photo.
        are_good: whether all entries can be read.
    """

    photos: tuple[LotPhoto, ...] = ()
    are_good: bool = True

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the parts, in the order of their first photos."""
        return parts_of(self.photos)


def ask_lot_photos(measured: Sequence[Measured]) -> ShownPhotos:
    """Ask what each photo shows, behind a fold; entries that cannot be read are reported there."""
    shown, good = [], True
    _suggest(measured)
    with st.expander(_shown_words(measured), icon=":material/photo_library:", key="photos-show"):
        for m in measured:
            if len(measured) > 1:
                st.markdown(f"**{as_typed(m.photo)}**")
            one, fine = _ask_photo(m, measured)
            shown.append(one)
            good = good and fine
        part_of = {s.sha256: s.part for s in shown}
        shown = [s if s.back_of is None else replace(s, part=part_of[s.back_of]) for s in shown]
        parts = parts_of(shown)
        faces = {part: _ask_face(part, shown) for part in parts}
        platings = {part: _ask_plating(part, shown, measured) for part in parts}
    good = good and all(p.can_be_read for p in platings.values())
    return ShownPhotos(
        tuple(replace(s, other_face=faces[s.part], plating=platings[s.part]) for s in shown),
        good,
    )


def ask_boards(seen: Records) -> ShownPhotos:
    """The same for boards that several photos show, each counted once: ask only for what no photo can show."""
    of = {} if seen.backs is None or seen.fronts_with_backs is None else {seen.backs.sha256: seen.fronts_with_backs}
    shown = [
        LotPhoto(m.sha256, _BOARDS, of[m.sha256].sha256 if m.sha256 in of else None, None, "") for m in seen.each
    ]
    with st.expander("What is known of the boards", icon=":material/photo_library:", key="photos-show"):
        face = _ask_face(_BOARDS, shown)
        plating = ask_plating(_BOARDS, seen.each)
    told = tuple(replace(s, other_face=face, plating=plating) for s in shown)
    return ShownPhotos(told, plating.can_be_read)


def parts_of(shown: Sequence[LotPhoto]) -> tuple[str, ...]:
    """Names of the parts, in the order of their first photos."""
    return tuple(dict.fromkeys(s.part for s in shown))


def lot_as_shown(
    shown: Sequence[LotPhoto], amounts: Mapping[str, tuple[str, str]], measured: Sequence[Measured]
) -> Lot:
    """The lot as the user describes it.

    Args:
        shown: the description of each photo.
        amounts: count and mass of each part, as texts.
        measured: the photos.

    Raises:
        UsageError: the entries contradict each other, as ``lot_of``.
    """
    texts = []
    for part in parts_of(shown):
        own = [s for s in shown if s.part == part]
        backs = {s.back_of: s.sha256 for s in own if s.back_of is not None}
        fronts = tuple(
            SightText(s.sha256, backs.get(s.sha256, ""), s.boards, s.weighed) for s in own if s.back_of is None
        )
        count, mass = amounts.get(part, ("", ""))
        known = own[0].plating
        texts.append(
            PartText(
                part,
                fronts,
                count,
                mass,
                own[0].other_face,
                known.kind,
                known.designs,
                known.picked,
                known.thickness,
            )
        )
    return lot_of(texts, measured)


def _shown_words(measured: Sequence[Measured]) -> str:
    """The fold in one line: the number of boards in the photos, as far as the outlines show it."""
    said = [m.likely_boards.words() for m in measured]
    if len(measured) == 1:
        return f"What the photo shows: {said[0]}, by outline"
    return f"What the {len(measured)} photos show"


def _ask_face(part: str, shown: Sequence[LotPhoto]) -> str:
    if any(s.back_of is not None for s in shown if s.part == part):
        return "left_out"
    alone = len(parts_of(shown)) == 1
    return str(
        st.selectbox(
            "Faces that no photo shows" + ("" if alone else f": {part}"),
            list(_FACES),
            format_func=lambda face: _FACES[face],
            key=f"face-{part}",
            persist_state="session",
        )
    )


def _ask_plating(part: str, shown: Sequence[LotPhoto], measured: Sequence[Measured]) -> PlatingTexts:
    of_part = {s.sha256 for s in shown if s.part == part}
    if len(parts_of(shown)) > 1:
        st.markdown(f"**{as_typed(part)}**")
    return ask_plating(part, [m for m in measured if m.sha256 in of_part])


def _suggest(measured: Sequence[Measured]) -> None:
    """Suggest photos that look like two faces of the same boards; the user accepts or not."""
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


def _ask_photo(m: Measured, measured: Sequence[Measured]) -> tuple[LotPhoto, bool]:
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
        return LotPhoto(m.sha256, part, back_of, 1, ""), True
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
    return LotPhoto(m.sha256, part, None, int(boards) if told else None, weighed.strip()), fine
