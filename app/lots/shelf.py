"""The photos of the lot in progress: documents and pictures, never whole arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import streamlit as st

from app.common.trouble import telling
from app.lots.desk import SHELF, current_lot
from app.lots.lot_folder import Kept
from calibration.errors import PhotoError
from grader.photo import Photo, load_photo

__all__ = ["Kept", "drop_marked_photo", "kept", "photo_to_mark", "take_off"]
_LAST_PHOTO = "last-photo"


def kept() -> dict[str, Kept]:
    """All that is measured, by sha256, the last measured one last."""
    shelf: dict[str, Kept] = st.session_state.setdefault(SHELF, {})
    return shelf


@telling
def take_off(sha256: str) -> None:
    """Take one photo out of the lot."""
    current_lot().remove(sha256)
    kept().pop(sha256, None)


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
    """Let go of the decoded photo."""
    st.session_state.pop(_LAST_PHOTO, None)
