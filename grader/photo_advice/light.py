"""How evenly the ground round the boards is lit."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

_CELLS, _LONGEST_PX = 40, 800
_LEAST_CELLS = 60
_MARGIN_SHARE = 0.005
_TENTH = 0.1


def light_ratio(
    rgb: NDArray[np.uint8], board: NDArray[np.bool_], outlines_px: Sequence[NDArray[np.float64]] = ()
) -> float | None:
    """Light on the brightest tenth of the ground ÷ that on its darkest tenth; None if little ground is seen.

    Patches of the ground are compared, in linear light (IEC 61966-2-1), so that fine texture and noise average out; a
    ground of several colours reads as uneven light.

    Args:
        rgb: uint8 (height, width, 3).
        board: bool (height, width), boards; they do not count as ground.
        outlines_px: of what else does not (targets, boards), each (k, 2).
    """
    step = max(1, max(rgb.shape[:2]) // _LONGEST_PX)
    green = rgb[::step, ::step, 1]
    height, width = green.shape
    taken = board[::step, ::step].astype(np.uint8)
    for outline in outlines_px:
        cv2.fillPoly(taken, [np.round(outline / step).astype(np.int32).reshape(-1, 1, 2)], 1)
    margin = 2 * max(1, round(_MARGIN_SHARE * max(height, width))) + 1
    ground = (cv2.dilate(taken, np.ones((margin, margin), np.uint8)) == 0).astype(np.float32)
    size = (_CELLS, max(1, round(_CELLS * height / width)))
    light = _LINEAR[green]
    share = cv2.resize(ground, size, interpolation=cv2.INTER_AREA)
    mean = cv2.resize(light * ground, size, interpolation=cv2.INTER_AREA)[share > 0.5] / share[share > 0.5]
    if len(mean) < _LEAST_CELLS:
        return None
    dark, bright = np.quantile(mean, [_TENTH, 1 - _TENTH])
    return float(bright / max(dark, _LINEAR[1]))


def _linear() -> NDArray[np.float32]:
    code = np.arange(256) / 255
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4).astype(np.float32)


_LINEAR = _linear()
