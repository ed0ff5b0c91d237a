"""Pictures for marking points by hand: the photo with its pixel coordinates, and a loupe on one point."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Point = tuple[float, float]

_INK, _PAPER, _LINE, _MARK = (40, 40, 40), (255, 255, 255), (255, 255, 255), (213, 94, 0)
_LEFT_PX, _TOP_PX = 96, 40
_FONT, _FONT_SIZE = cv2.FONT_HERSHEY_SIMPLEX, 0.9
_LABELS = 6
_QUALITY = 88


def ruled_jpeg(rgb: Picture, points: Sequence[Point], max_side_px: int = 1000) -> bytes:
    """The photo, reduced, with rulers in its own pixels and the points marked and numbered.

    Args:
        rgb: uint8 (height, width, 3).
        points: in px of the photo, integer = pixel centre.
        max_side_px: of the reduced photo, without the rulers.
    """
    k = min(1.0, max_side_px / max(rgb.shape[:2]))
    size = (max(1, round(rgb.shape[1] * k)), max(1, round(rgb.shape[0] * k)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    out = np.full((size[1] + _TOP_PX, size[0] + _LEFT_PX, 3), _PAPER, np.uint8)
    out[_TOP_PX:, _LEFT_PX:] = small
    step = _round_step(max(rgb.shape[:2]) / _LABELS)
    for value in range(step, rgb.shape[1], step):
        x = _LEFT_PX + _scaled(value, k)
        _faint_line(out[_TOP_PX:, x : x + 1])
        _write(out, str(value), (x, _TOP_PX - 12), centred=True)
    for value in range(step, rgb.shape[0], step):
        y = _TOP_PX + _scaled(value, k)
        _faint_line(out[y : y + 1, _LEFT_PX:])
        _write(out, str(value), (8, y + 10), centred=False)
    places = [(_LEFT_PX + _scaled(x, k), _TOP_PX + _scaled(y, k)) for x, y in points]
    for number, place in enumerate(places, 1):
        cv2.drawMarker(out, place, _PAPER, cv2.MARKER_CROSS, 36, 6, cv2.LINE_AA)
        cv2.drawMarker(out, place, _MARK, cv2.MARKER_CROSS, 36, 3, cv2.LINE_AA)
        _write(out, str(number), (place[0] + 12, place[1] - 12), centred=False, halo=True)
    return _jpeg(out)


def loupe_jpeg(rgb: Picture, point: Point, around_px: int = 24, zoom: int = 8) -> bytes:
    """The pixels around a point, enlarged without smoothing, with hairlines through the point; black outside."""
    x0, y0 = math.floor(point[0]) - around_px, math.floor(point[1]) - around_px
    side = 2 * around_px + 1
    out = np.zeros((side, side, 3), np.uint8)
    ys, xs = np.arange(y0, y0 + side), np.arange(x0, x0 + side)
    inside_y, inside_x = (ys >= 0) & (ys < rgb.shape[0]), (xs >= 0) & (xs < rgb.shape[1])
    out[np.ix_(inside_y, inside_x)] = rgb[np.ix_(ys[inside_y], xs[inside_x])]
    out = np.repeat(np.repeat(out, zoom, axis=0), zoom, axis=1)
    column, row = (math.floor((c - c0 + 0.5) * zoom) for c, c0 in zip(point, (x0, y0), strict=True))
    gap = zoom
    for part in (
        out[row, : column - gap],
        out[row, column + gap :],
        out[: row - gap, column],
        out[row + gap :, column],
    ):
        part[:] = _MARK
    return _jpeg(out)


def _scaled(value: float, k: float) -> int:
    return round((value + 0.5) * k - 0.5)


def _round_step(least: float) -> int:
    """The smallest of 1, 2, 5, 10, 20, … that is not below ``least``."""
    power = 10 ** max(0, math.floor(math.log10(max(least, 1))))
    return int(next(power * n for n in (1, 2, 5, 10) if power * n >= least))


def _faint_line(part: Picture) -> None:
    part[:] = (part.astype(np.uint16) + np.array(_LINE, np.uint16)) // 2


def _write(out: Picture, text: str, at: tuple[int, int], *, centred: bool, halo: bool = False) -> None:
    width = cv2.getTextSize(text, _FONT, _FONT_SIZE, 2)[0][0]
    left = at[0] - width // 2 if centred else at[0]
    place = (max(0, min(left, out.shape[1] - width)), at[1])
    if halo:
        cv2.putText(out, text, place, _FONT, _FONT_SIZE, _PAPER, 6, cv2.LINE_AA)
    cv2.putText(out, text, place, _FONT, _FONT_SIZE, _MARK if halo else _INK, 2, cv2.LINE_AA)


def _jpeg(picture: Picture) -> bytes:
    ok, data = cv2.imencode(".jpg", picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, _QUALITY])
    if not ok:
        raise RuntimeError("a picture of valid shape could not be encoded")
    return bytes(data)
