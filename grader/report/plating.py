"""Where the plating lies, as rings in a document; and the picture that a document and its photo give."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.finishes import FINISH_RGB, UNDETERMINED
from grader.model import FINISHES, Finish
from grader.photo import reduced
from grader.pipeline import Measurement
from grader.report.overlay import BOARD_RGB, STRENGTH, in_reduced, outline

Picture = NDArray[np.uint8]

_SIMPLE_PX = 1.0
_QUALITY = 85


def plating_rings(measurement: Measurement) -> dict[Finish, list[list[list[int]]]]:
    """Rings round what is at least half plated, by finish, in px of the photo; a ring within a ring is a hole.

    For pictures and for finding a place again: areas come from coverage, never from rings.
    """
    regions = measurement.regions
    finish_of = np.zeros(len(regions.regions) + 1, np.uint8)
    finish_of[0] = FINISHES.index(UNDETERMINED)
    for region in regions.regions:
        finish_of[region.number] = FINISHES.index(region.finish)
    plated = measurement.coverage.share > 127
    kinds = finish_of[regions.labels]
    found: dict[Finish, list[list[list[int]]]] = {}
    for number, finish in enumerate(FINISHES):
        mask = (plated & (kinds == number)).astype(np.uint8)
        rings = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]
        simple = (cv2.approxPolyDP(ring, _SIMPLE_PX, closed=True).reshape(-1, 2) for ring in rings)
        found[finish] = [ring.tolist() for ring in simple if len(ring) >= 3]
    return found


def document_picture(document: Mapping[str, Any], rgb: Picture, max_side_px: int) -> Picture:
    """The photo with plating coloured by finish and boards outlined, as a document tells; uint8 (h, w, 3).

    Args:
        document: a measurement; one without rings gives outlines alone.
        rgb: the photo that was measured, upright.
        max_side_px: of the longer side.
    """
    small, k = reduced(rgb, max_side_px)
    out = small.astype(np.float32)
    for finish in FINISHES:
        rings = [in_reduced(ring, k) for ring in (document.get("plating_px") or {}).get(finish, ())]
        inside = np.zeros(out.shape[:2], np.uint8)
        if rings:
            cv2.fillPoly(inside, rings, 255, lineType=cv2.LINE_AA)
        alpha = inside.astype(np.float32)[..., None] / 255 * STRENGTH
        out += alpha * (np.array(FINISH_RGB[finish], np.float32) - out)
    picture = np.ascontiguousarray(np.round(out).astype(np.uint8))
    for board in document.get("boards", ()):
        outline(picture, board["outline_px"], k, BOARD_RGB)
    return picture


def picture_jpeg(picture: Picture) -> bytes:
    """A picture as JPEG without any of the photo's own data, such as where it was taken."""
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
