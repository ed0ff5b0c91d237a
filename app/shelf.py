"""The photos that were measured in this browser session: documents and pictures, never whole arrays."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import streamlit as st

from calibration.errors import PhotoError
from grader.measure import Progress, Request, measure
from grader.photo import Photo, load_photo
from grader.report import measurement_document, overlay_png

MOST_KEPT = 24
_SHELF, _LAST_PHOTO = "shelf", "last-photo"


@dataclass(frozen=True)
class Kept:
    """One measured photo.

    Attributes:
        name: of the photo.
        sha256: of its file.
        request: how it was measured.
        document: the measurement.
        overlay: PNG of at most 1600 px.
        is_sample: whether it is one of the demo's photos.
    """

    name: str
    sha256: str
    request: Request
    document: Mapping[str, Any]
    overlay: bytes
    is_sample: bool

    @property
    def has_gold(self) -> bool:
        """Whether there is an estimate to value and to log."""
        return self.document["gold_mg"] is not None


def kept() -> dict[str, Kept]:
    """All that is kept, by sha256, the last measured one last."""
    shelf: dict[str, Kept] = st.session_state.setdefault(_SHELF, {})
    return shelf


def measure_once(name: str, data: bytes, request: Request, progress: Progress, *, is_sample: bool) -> Kept:
    """Measure a photo and keep the result; one that was measured in the same way is not measured again.

    Samples and a person's own photos never lie on the shelf together: nobody wants both in one price.

    Raises:
        PhotoError: the bytes are no photo.
        UsageError: as ``measure``.
    """
    shelf = kept()
    sha256 = hashlib.sha256(data).hexdigest()
    done = shelf.get(sha256)
    if done is None or done.request != request:
        measured = measure(load_photo(data, name), request, progress)
        done = Kept(name, sha256, request, measurement_document(measured), overlay_png(measured), is_sample)
    others = [d for d in shelf.values() if d.sha256 != sha256 and d.is_sample == is_sample]
    st.session_state[_SHELF] = {d.sha256: d for d in [*others, done][-MOST_KEPT:]}
    return done


def take_off(sha256: str) -> None:
    """Take one photo off the shelf."""
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
