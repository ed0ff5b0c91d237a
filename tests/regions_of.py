"""Regions of a photo, found one after the other as ``search_photo`` finds them side by side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.scale import Scale
from grader.coverage import Coverage
from grader.regions import Regions
from grader.regions.find import find_plating, outlines_of


def find_regions(coverage: Coverage, scale: Scale | None, rgb: NDArray[np.uint8] | None = None) -> Regions:
    """Regions and the boards that they lie on."""
    return find_plating(coverage, scale).on(outlines_of(coverage, scale, rgb))
