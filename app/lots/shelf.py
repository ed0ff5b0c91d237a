"""The photos of the lot in progress: documents and pictures, never whole arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import streamlit as st

from app.common.trouble import telling
from app.lots import taken_off
from app.lots.desk import SHELF, current_lot, lot_key
from app.lots.lot_folder import Kept
from calibration.errors import PhotoError
from grader.photo import Photo, load_photo

__all__ = ["Kept", "bring_back", "drop_marked_photo", "kept", "last_taken_off", "photo_to_mark", "take_off"]
_LAST_PHOTO, _TAKEN_OFF = "last-photo", "desk-taken-off"


def kept() -> dict[str, Kept]:
    """All measured photos by sha256, the last measured one last."""
    shelf: dict[str, Kept] = st.session_state.setdefault(SHELF, {})
    return shelf


@telling
def take_off(sha256: str) -> None:
    """Take one photo out of the lot; it can be brought back from a line on every page."""
    done = kept().pop(sha256, None)
    taken_off.lay_aside(current_lot(), sha256)
    st.session_state[_TAKEN_OFF] = lot_key(), sha256, "The photo" if done is None else done.name


def last_taken_off() -> tuple[str, str] | None:
    """The sha256 and name of the photo that was last taken off this window's lot, or None."""
    key, sha256, name = st.session_state.get(_TAKEN_OFF, ("", "", ""))
    return (sha256, name) if key == lot_key() else None


@telling
def bring_back(sha256: str) -> None:
    """Put that photo back."""
    taken_off.put_back(current_lot(), sha256)
    st.session_state.pop(_TAKEN_OFF, None)


def photo_to_mark(name: str, data: bytes, fail: Callable[[PhotoError], None]) -> Photo | None:
    """The decoded photo on which points are being marked; only the last one is kept in memory."""
    sha256 = hashlib.sha256(data).hexdigest()
    last: Photo | None = st.session_state.get(_LAST_PHOTO)
    if last is None or last.sha256 != sha256:
        try:
            last = load_photo(data, name)
        except PhotoError as error:
            fail(error)
            return None
        st.session_state[_LAST_PHOTO] = last
    return last


def drop_marked_photo() -> None:
    """Release the decoded photo."""
    st.session_state.pop(_LAST_PHOTO, None)
