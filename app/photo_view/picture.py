"""The photo for the browser: a small picture at once, the whole one when somebody looks closer."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import streamlit as st
from numpy.typing import NDArray
from streamlit.runtime import get_instance

from grader.photo import Photo, reduced

PREVIEW_PX = 1600
_QUALITY = 90
_KEPT, _PREVIEWS = "desk-photo-view-pictures", "desk-photo-view-previews"
_MOST_PREVIEWS = 24

Urls = dict[str, str]


def photo_urls(photo: Photo) -> Urls:
    """Addresses of the photo and of a preview of it, on this page's own server.

    Both are encoded again, upright, without the file's metadata (place, time, camera). Only the pictures of the
    last photo are kept.
    """
    sha256, pictures = st.session_state.get(_KEPT, ("", {}))
    if sha256 != photo.sha256:
        pictures = {"preview": _jpeg(reduced(photo.rgb, PREVIEW_PX)[0]), "whole": _jpeg(photo.rgb)}
        st.session_state[_KEPT] = photo.sha256, pictures
    media = get_instance().media_file_mgr
    return {which: media.add(data, "image/jpeg", f"photo-view-{which}") for which, data in pictures.items()}


def preview_url(sha256: str, decoded: Callable[[], Photo]) -> str:
    """The address of a photo's preview, as in ``photo_urls``; the photo is decoded only if the preview is not kept.

    Raises:
        PhotoError: as ``decoded``.
    """
    kept: dict[str, bytes] = st.session_state.setdefault(_PREVIEWS, {})
    if sha256 not in kept:
        kept[sha256] = _jpeg(reduced(decoded().rgb, PREVIEW_PX)[0])
        while len(kept) > _MOST_PREVIEWS:
            del kept[next(iter(kept))]
    return get_instance().media_file_mgr.add(kept[sha256], "image/jpeg", f"photo-view-{sha256}")


def overlay_url(sha256: str, png: bytes) -> str:
    """The address of a picture that is laid over a photo."""
    return get_instance().media_file_mgr.add(png, "image/png", f"photo-view-over-{sha256}")


def forget_pictures() -> None:
    """Release the pictures."""
    st.session_state.pop(_KEPT, None)


def _jpeg(rgb: NDArray[np.uint8]) -> bytes:
    ok, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
