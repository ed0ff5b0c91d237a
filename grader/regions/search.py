"""Regions, boards and row readings of one photo, faster than one after another."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray

from calibration.scale import Scale
from grader.coverage import Coverage
from grader.regions.find import find_plating, outlines_of
from grader.regions.model import Regions
from grader.regions.reading import RowReading, read_contact_rows


def search_photo(
    coverage: Coverage, scale: Scale | None, rgb: NDArray[np.uint8]
) -> tuple[Regions, tuple[RowReading, ...]]:
    """Regions on their boards, and results of ``read_contact_rows``; outlines and rows do not wait for each other.

    Args:
        coverage: of the photo.
        scale: for sizes in mm; None measures in px.
        rgb: the photo, uint8 (height, width, 3).
    """
    with ThreadPoolExecutor(1) as aside:
        outlines = aside.submit(outlines_of, coverage, scale, rgb)
        plating = find_plating(coverage, scale)
        readings = read_contact_rows(plating.regions, coverage, rgb)
        return plating.on(outlines.result()), readings
