"""The text of a listing, pasted into one box: it fills the fields that it mentions, and shows its words."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from app.common.show import remark
from app.value.entered import amount_key, entered
from grader.listing_text import MOST_CHARACTERS, Found, ListingText, read_listing_text

_TEXT = "listing-text"
_NAME, _KIND = "lot-name", "lot-part"
_CALLED: Mapping[str, str] = {_NAME: "Name of the lot", _KIND: "Kind of boards"}


def ask_listing(part: str) -> Mapping[str, Found]:
    """Draw the box; return the values that it gave to the form's fields, by their keys.

    Args:
        part: of the lot, whose amount the listing states.
    """
    with st.expander("Paste the listing", icon=":material/content_paste:", key="paste-listing"):
        st.text_area(
            "Title, description, price and postage, as copied",
            key=_TEXT,
            height=120,
            max_chars=MOST_CHARACTERS,
            persist_state="session",
            on_change=_fill,
            args=(part,),
        )
        said = _said()
        if said is not None:
            _tell(said, part)
    return {} if said is None else {key: f for key, f in _by_field(said, part).items() if entered(key) == f.value}


def _said() -> ListingText | None:
    text = entered(_TEXT)
    return read_listing_text(text) if text else None


def _by_field(said: ListingText, part: str) -> dict[str, Found]:
    """The values found in the text, by the key of the field that takes them."""
    kind = said.kind
    found = {
        _NAME: said.title,
        amount_key(part): said.count or said.mass,
        "asking": said.asking,
        "postage": said.postage,
        _KIND: kind and Found(kind.value.replace("_", " "), kind.words, kind.span),
    }
    return {key: each for key, each in found.items() if each is not None}


def _fill(part: str) -> None:
    """Fill the fields that are empty or were filled from the text before; typed entries stay."""
    said = _said()
    before: dict[str, str] = st.session_state.get("desk-listing-filled", {})
    found = {} if said is None else _by_field(said, part)
    for key, old in before.items():
        if key not in found and entered(key) == old:
            st.session_state[key] = ""
    filled = {}
    for key, each in found.items():
        if entered(key) in ("", before.get(key)):
            st.session_state[key] = each.value
            filled[key] = each.value
    st.session_state["desk-listing-filled"] = filled


def _tell(said: ListingText, part: str) -> None:
    found = _by_field(said, part)
    if not found:
        st.markdown("It says nothing sure of weight, number, price or postage: fill in the fields yourself.")
        return
    for key, called in _CALLED.items():
        if key in found and entered(key) == found[key].value:
            _line(f"{called}: {found[key].value}", found[key], "Not this", key, "")
    if said.count is not None and said.mass is not None:
        other = said.mass if entered(amount_key(part)) == said.count.value else said.count
        if entered(amount_key(part)) != other.value:
            _line(f"It also says {other.value}", other, f"Take {other.value}", amount_key(part), other.value)


def _line(text: str, found: Found, act: str, key: str, value: str) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        remark(f"{text}, {from_words(found)}")
        st.button(act, key=f"desk-listing-{key}-{value}", type="tertiary", on_click=_set, args=(key, value))


def _set(key: str, value: str) -> None:
    st.session_state[key] = value


def from_words(found: Found) -> str:
    """The place where a value was read."""
    return f"read from “{' '.join(found.words.split())}”"
