"""Which regions a person takes for one row: those along one straight line of contacts.

What is found as several rows, because contacts between them ran together or are worn, is one row to the eye; so are
pieces on its line that belong to no row.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.arrays import FloatArray
from grader.regions import ContactRow, Region, Regions

_BESIDE = 0.6  # of a contact's length: so far beside a row's middle line a region's middle may lie
_BEYOND = 3.0  # contact lengths: so far beyond a row's ends it still goes on, as after a notch


def seen_rows(regions: Regions, px_per_mm: float | None) -> tuple[int | None, ...]:
    """A number for each region's row as the eye sees it, or None; of regions in their order.

    Args:
        regions: as found.
        px_per_mm: of the photo; None if lengths are in px.
    """
    per = 1.0 if px_per_mm is None else px_per_mm
    rows = regions.rows
    number = list(range(len(rows)))
    # the longest first: short ones join it
    order = sorted(range(len(rows)), key=lambda i: -rows[i].count)
    for n, i in enumerate(order):
        for j in order[n + 1 :]:
            if number[j] == j and rows[j].board == rows[i].board and _along(rows[i], np.array(rows[j].ends_px), per):
                number[j] = number[i]
    return tuple(_row_of(region, rows, order, number, per) for region in regions.regions)


def _row_of(
    region: Region, rows: Sequence[ContactRow], order: Sequence[int], number: Sequence[int], per: float
) -> int | None:
    if region.row is not None:
        return number[region.row]
    middle = region.box_px.mean(axis=0)[None]
    return next((number[i] for i in order if region.board == rows[i].board and _along(rows[i], middle, per)), None)


def _along(row: ContactRow, places_px: FloatArray, per: float) -> bool:
    """Whether places (n, 2) lie on a row's line, and one of them between its ends or little beyond."""
    start, end = np.array(row.ends_px)
    length = float(np.hypot(*(end - start)))
    contact = row.contact_length * per
    if length < contact:  # so few contacts tell no direction
        return False
    along = (end - start) / length
    away = places_px - start
    beside = np.abs(away @ [-along[1], along[0]])
    ahead = away @ along
    beyond = _BEYOND * contact
    return bool((beside <= _BESIDE * contact).all() and ahead.max() >= -beyond and ahead.min() <= length + beyond)
