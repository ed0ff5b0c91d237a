"""The boards in the lot's photos, ready for grading and cutting; each photo is searched once per way of measuring."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import streamlit as st

from app.lots.desk import current_lot, desk
from app.lots.lot_folder import Kept
from calibration.arrays import RgbArray
from calibration.errors import GraderError, PhotoError, RefusedError
from grader.correct.measured import correct
from grader.cut import CutBoard, Turned, cut_boards, join_faces
from grader.cut.picture import MAX_SIDE_PX
from grader.photo import load_photo, reduced
from grader.pipeline import measure

Boards = tuple[CutBoard | RefusedError, ...]
MOST_KEPT = 48


@dataclass(frozen=True, eq=False)
class Searched:
    """A photo after searching it for boards.

    Attributes:
        boards: found in it.
        jpeg: the photo, reduced.
        k: its size ÷ the photo's size.
    """

    boards: Boards
    jpeg: bytes
    k: float

    def picture(self) -> tuple[RgbArray, float]:
        """The reduced photo, uint8 (h, w, 3), and its size ÷ the photo's."""
        pixels = cv2.imdecode(np.frombuffer(self.jpeg, np.uint8), cv2.IMREAD_COLOR_RGB)
        return np.asarray(pixels, np.uint8), self.k


@dataclass(frozen=True)
class BenchPhoto:
    """The description of a photo: fronts, or the backs of the boards in another photo.

    Attributes:
        sha256: of the photo.
        part: kind of boards; empty to use the photo's name.
        back: sha256 of the photo of their backs, or None.
        turned: how they were turned over, or None to infer it from their outlines.
        weighed_g: total mass of its boards, with their components; None if not known.
    """

    sha256: str
    part: str = ""
    back: str | None = None
    turned: Turned | None = None
    weighed_g: float | None = None


def search_all(
    shown: Sequence[BenchPhoto], photos: Mapping[str, Kept], say: Callable[[int, str], object]
) -> tuple[dict[str, Searched], list[tuple[str, GraderError]]]:
    """Search each photo of fronts, with its backs; return results by sha256, and failures.

    Args:
        shown: the photos of fronts.
        photos: all photos by sha256.
        say: called with the number and name of each photo before searching it.
    """
    found: dict[str, Searched] = {}
    failed: list[tuple[str, GraderError]] = []
    for number, one in enumerate(shown):
        front = photos[one.sha256]
        try:
            say(number, front.name)
            searched = search(front)
            if one.back is not None:
                say(number, photos[one.back].name)
                boards = join_faces(searched.boards, search(photos[one.back]).boards, one.turned)
                searched = replace(searched, boards=boards)
        except GraderError as error:
            failed.append((front.name, error))
        else:
            found[one.sha256] = searched
    return found, failed


def search(done: Kept) -> Searched:
    """The boards of one measured photo.

    Raises:
        PhotoError: the photo no longer exists.
        RefusedError: it has no scale, or no outline was found.
    """
    way = json.dumps([done.request.as_json(), done.measured.made_by_hand.as_json()], sort_keys=True)
    return _search(done.sha256, way, done)


@st.cache_resource(max_entries=MOST_KEPT, show_spinner=False)
def _search(sha256: str, way: str, _done: Kept) -> Searched:  # noqa: ARG001 - the way distinguishes measurements
    data = current_lot().photo(sha256)
    if data is None:
        raise PhotoError("photo-missing", "The photo has been removed.", "Choose and measure it again.")
    with desk().one_at_a_time:
        found = measure(load_photo(data, _done.name), _done.request)
    if found.refused is not None:
        raise found.refused
    measured = correct(found, _done.measured.made_by_hand)
    small, k = reduced(measured.photo.rgb, MAX_SIDE_PX)
    jpeg = cv2.imencode(".jpg", small[..., ::-1])[1].tobytes()
    return Searched(cut_boards(measured), jpeg, k)
