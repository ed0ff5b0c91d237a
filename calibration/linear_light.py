"""SRGB codes to linear light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_CODES = np.arange(256) / 255
_LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4).astype(np.float32)


def to_linear(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """SRGB codes, uint8 (..., 3), to linear light 0..1, float32 of the same shape (IEC 61966-2-1)."""
    return _LINEAR[rgb]
