"""A measured photo's picture: what was found laid over it, or taken away with a slider."""

from __future__ import annotations

from functools import partial

import streamlit as st

from app.common.show import remark
from app.lots.desk import current_lot
from app.lots.shelf import Kept
from app.photo_view import comparing_picture
from calibration.errors import PhotoError
from grader.photo import load_photo


def show_picture(done: Kept) -> None:
    """Show it; where the photo is not here any more, only as it was measured."""
    measured, data = done.measured, current_lot().photo(done.sha256)
    size = (measured.width_px or 0, measured.height_px or 0)
    try:
        if data is not None and all(size):
            comparing_picture(done.sha256, size, partial(load_photo, data, done.name), done.overlay)
        else:
            _as_it_was(done)
    except PhotoError:
        _as_it_was(done)
    remark("Boards are outlined in yellow, the printed target in white.")


def _as_it_was(done: Kept) -> None:
    st.image(done.overlay, width="stretch", alt="The photo with the plating hatched by finish")
