"""A corrected photo as training data: picture and masks in the folder form that training reads.

``grader/coverage/weights/MODEL.md`` describes the form. Of its three masks two are made: plated shares as corrected,
and the outlines of boards. The mask of classes (what lookalikes there are) is not known from a correction.
"""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.measured.of_measurement import corrections_of
from grader.pipeline import Measurement

_QUALITY = 95
_MOST_BOARDS = 255
_ABOUT = """One photo with masks made with a person's corrections, exported with their consent.

images/NAME.jpg        the photo, upright; when and where it was taken, and with what, is left out
masks/NAME_gold.png    8-bit share of each pixel that is plated, 255 = wholly
masks/NAME_board.png   8-bit board number, 0 = none (as found by the program, not corrected)
corrections/NAME.json  what the person changed, and what found the rest
"""


def training_zip(done: Measurement) -> bytes:
    """A ZIP archive of one measured photo, made in memory: nothing is sent anywhere.

    Args:
        done: the measurement, with its corrections.
    """
    name = done.photo.short_id
    files = {
        "README.txt": _ABOUT.encode(),
        f"images/{name}.jpg": _encoded(".jpg", done.photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY]),
        f"masks/{name}_gold.png": _encoded(".png", done.coverage.share),
        f"corrections/{name}.json": json.dumps(_about(done), ensure_ascii=False, indent=1).encode(),
    }
    if done.regions.boards:
        files[f"masks/{name}_board.png"] = _encoded(".png", _boards(done))
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:  # pictures are compressed already
        for path, data in files.items():
            archive.writestr(zipfile.ZipInfo(path), data)
    return buffer.getvalue()


def _about(done: Measurement) -> dict[str, Any]:
    made = corrections_of(done)
    return {
        "segmenter": done.coverage.segmenter,
        "px_per_mm": done.scale.px_per_mm if done.scale is not None else None,
        "corrections": None if made is None else made.model_dump(mode="json", by_alias=True),
    }


def _boards(done: Measurement) -> NDArray[np.uint8]:
    """Board numbers, the largest board first; smaller ones lie on top."""
    mask = np.zeros(done.coverage.share.shape, np.uint8)
    for number, board in enumerate(done.regions.boards[:_MOST_BOARDS], 1):
        cv2.fillPoly(mask, [np.round(board.outline_px).astype(np.int32).reshape(-1, 1, 2)], number)
    return mask


def _encoded(kind: str, picture: NDArray[np.uint8], settings: list[int] | None = None) -> bytes:
    ok, data = cv2.imencode(kind, picture, settings or [])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
