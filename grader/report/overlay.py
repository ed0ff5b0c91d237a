"""Pictures of a measurement: what was taken for plating, by finish, drawn over the photo."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from calibration.finishes import FINISHES, UNDETERMINED
from grader.photo import reduced
from grader.pipeline import Measurement
from grader.report.hatching import mark_plating

BOARD_RGB, _ROW_RGB = (240, 228, 66), (255, 255, 255)
_MAX_SIDE_PX = 1600


def coverage_png(measurement: Measurement) -> bytes:
    """8-bit grey PNG of the photo's size, 255 = wholly plated."""
    return png(measurement.coverage.share)


def overlay_png(measurement: Measurement, max_side_px: int = _MAX_SIDE_PX) -> bytes:
    """PNG of the photo with plating hatched and outlined by finish, boards outlined and rows of contacts marked."""
    return png(np.ascontiguousarray(overlay_rgb(measurement, max_side_px)[..., ::-1]))


def overlay_rgb(measurement: Measurement, max_side_px: int = _MAX_SIDE_PX) -> NDArray[np.uint8]:
    """The overlay as uint8 (height, width, 3), at most ``max_side_px`` on its longer side."""
    small, k = reduced(measurement.photo.rgb, max_side_px)
    out = np.array(small, np.uint8)
    regions = measurement.regions
    table = np.zeros(len(regions.regions) + 1, np.uint8)
    table[0] = FINISHES.index(UNDETERMINED)
    for region in regions.regions:
        table[region.number] = FINISHES.index(region.finish)
    share = measurement.coverage.share
    for number, finish in enumerate(FINISHES):
        own = np.where(table[regions.labels] == number, share, np.uint8(0))
        reduced_share = cv2.resize(own, (small.shape[1], small.shape[0]), interpolation=cv2.INTER_AREA)
        mark_plating(out, finish, np.asarray(reduced_share, np.uint8))
    for board in regions.boards:
        outline(out, board.outline_px, k, BOARD_RGB)
    for sheet in measurement.scale.target_px if measurement.scale else ():
        outline(out, sheet, k, _ROW_RGB)
    return out


def in_reduced(points_px: ArrayLike, k: float) -> NDArray[np.int32]:
    """Points (n, 2) of a photo in its reduced picture, as OpenCV draws them: int32 (n, 1, 2)."""
    return np.round((np.asarray(points_px, np.float64) + 0.5) * k - 0.5).astype(np.int32).reshape(-1, 1, 2)


def outline(picture: NDArray[np.uint8], points_px: ArrayLike, k: float, rgb: tuple[int, int, int]) -> None:
    """Draw a closed line of a photo into its reduced picture."""
    cv2.polylines(picture, [in_reduced(points_px, k)], isClosed=True, color=rgb, thickness=2, lineType=cv2.LINE_AA)


def png(picture: NDArray[np.uint8]) -> bytes:
    """A picture, as OpenCV holds it, as a PNG."""
    ok, data = cv2.imencode(".png", picture)
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
