"""A corrected photo as training data: picture and masks in the folder form that training reads.

``grader/coverage/weights/MODEL.md`` describes the form. The mask of classes (what lookalikes there are) is not known
from a correction. A correction tells what a person changed, not that the rest was looked at: unless the person says
that it was, only what was corrected counts as known, with its surroundings.
"""

from __future__ import annotations

import io
import json
import zipfile
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import HARD_GOLD, IMMERSION_GOLD
from calibration.packaged import packaged_toml
from grader.correct.apply import touched
from grader.measured.of_measurement import corrections_of
from grader.pipeline import Measurement

_QUALITY = 95
_MOST_BOARDS = 255
_KINDS = {HARD_GOLD: "edge", IMMERSION_GOLD: "pads"}
_ABOUT = """One photo with masks made with a person's corrections, exported with their consent.

images/NAME.jpg        the photo, upright; when and where it was taken, and with what, is left out
masks/NAME_gold.png    8-bit share of each pixel that is plated, 255 = wholly
masks/NAME_known.png   not 0 where a person looked: at what was corrected, and close by; without it, everywhere
masks/NAME_board.png   8-bit board number, 0 = none (as found by the program, not corrected)
masks/NAME_kind.txt    what is plated: edge (edge contacts only), pads (none of them), mixed or none
masks/NAME_scale.txt   pixels per millimetre, if known
meta.json              by name, where the photo is from: photos of one origin are held out from training together
corrections/NAME.json  what the person changed, and what found the rest

The model card of the program (grader/coverage/weights/MODEL.md) says how to train with such archives.
"""


def training_zip(done: Measurement, *, looked_over: bool = False) -> bytes:
    """A ZIP archive of one measured photo, made in memory: nothing is sent anywhere.

    Args:
        done: the measurement, with its corrections.
        looked_over: whether a person looked over the whole picture, so that all of it is known.
    """
    name = done.photo.short_id
    files = {
        "README.txt": _ABOUT.encode(),
        # a photo is its own origin: so is one of which nothing is said, where archives are unpacked over each other
        "meta.json": json.dumps({name: {"repo": name}}).encode(),
        f"images/{name}.jpg": _encoded(".jpg", done.photo.rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY]),
        f"masks/{name}_gold.png": _encoded(".png", done.coverage.share),
        f"masks/{name}_kind.txt": _kind(done).encode(),
        f"corrections/{name}.json": json.dumps(_about(done), ensure_ascii=False, indent=1).encode(),
    }
    if not looked_over:
        files[f"masks/{name}_known.png"] = _encoded(".png", _seen(done))
    if done.scale is not None:
        files[f"masks/{name}_scale.txt"] = f"{done.scale.px_per_mm:.4f}".encode()
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


def _kind(done: Measurement) -> str:
    """What training calls a photo, by the finishes of what is plated in it; of undetermined finish it is mixed."""
    labels = done.regions.labels[done.coverage.share > 127]
    remain = np.flatnonzero(np.bincount(labels)[1:])
    kinds = {_KINDS.get(done.regions.regions[n].finish, "mixed") for n in remain}
    if not kinds:
        return "none"
    return kinds.pop() if len(kinds) == 1 else "mixed"


def _seen(done: Measurement) -> NDArray[np.uint8]:
    """255 where a person's corrections tell what is plated, and close by; otherwise 0."""
    found = done.found if done.found is not None else done
    seen = touched(found.regions, done.corrections, done.coverage.share.shape)
    size = 2 * int(packaged_toml("grader.correct", "data/training.toml")["seen_px"]) + 1
    return np.asarray(cv2.dilate(seen.astype(np.uint8) * 255, np.ones((size, size), np.uint8)), np.uint8)


def _boards(done: Measurement) -> NDArray[np.uint8]:
    """Board numbers, the largest board first; smaller ones lie on top."""
    mask = np.zeros(done.coverage.share.shape, np.uint8)
    largest = sorted(done.regions.boards, key=lambda board: -board.area)[:_MOST_BOARDS]
    for number, board in enumerate(largest, 1):
        cv2.fillPoly(mask, [np.round(board.outline_px).astype(np.int32).reshape(-1, 1, 2)], number)
    return mask


def _encoded(kind: str, picture: NDArray[np.uint8], settings: list[int] | None = None) -> bytes:
    ok, data = cv2.imencode(kind, picture, settings or [])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
