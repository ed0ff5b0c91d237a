"""Names of the arrays that are passed about; their shapes stand where they are used."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
RgbArray = NDArray[np.uint8]
"""A picture (height, width, 3), red first."""
