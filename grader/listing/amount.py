"""Number of boards and gold in a lot: from its photos, together with a stated count or mass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import UsageError
from calibration.inputs import DEFAULT_DRAWS, Input
from grader.board_count import BoardCount
from grader.listing.model import Listing
from grader.lot import estimate_lot
from grader.lot.assumed import lot_inputs
from grader.model import Range
from grader.regions.heap import with_mass

_MOST = 2000  # boards in a lot whose number is known from its mass alone
_CM2_PER_MM2 = 1e-2


@dataclass(frozen=True)
class LotAmount:
    """A whole lot.

    Attributes:
        boards: how many it holds; None where the photos and the stated mass contradict each other.
        gold_mg: gold in it, mg; None without a scale.
        mass_g: its mass, g; None where it is unknown.
        by: the source of the number of boards.
    """

    boards: BoardCount | None
    gold_mg: Range | None
    mass_g: Range | None
    by: str

    def as_json(self) -> dict[str, Any]:
        """A JSON object."""
        return {
            "board_count": None if self.boards is None else self.boards.as_json(),
            "gold_mg": None if self.gold_mg is None else self.gold_mg.as_json(),
            "mass_g": None if self.mass_g is None else self.mass_g.as_json(),
            "by": self.by,
        }


def amount_of(listing: Listing, count: str = "", mass: str = "") -> LotAmount:
    """The whole lot of a listing.

    A stated mass selects the numbers of boards that weigh that much from the numbers that the photos allow. For a
    heap these are the numbers that may lie in it, otherwise all numbers from that of the boards seen upward. Gold is
    then estimated from the mass, which determines it better than a number of boards.

    Args:
        listing: a listing that was read.
        count: the stated number of boards, as text; empty if not stated.
        mass: the stated mass, as text; empty if not stated.

    Raises:
        UsageError: as ``Listing.lot`` and ``estimate_lot``, or if the texts cannot be read.
    """
    seen, by = seen_number(listing)
    is_heap = by == HEAP
    if listing.record is None:
        return LotAmount(seen, None, None, by)
    if count:
        by, is_heap = "the stated count", False
        known = listing.lot(count=count).parts[0].count
        seen = seen if known is None else _numbers(known.at((np.arange(999) + 0.5) / 999))
    stated = f"{seen.low}..{seen.high}" if is_heap else count
    try:
        estimate = estimate_lot(listing.lot(mass=mass) if mass else listing.lot(count=stated))
    except UsageError:
        if count or mass:
            raise
        return LotAmount(seen, None, None, by)  # a heap whose boards cannot be told apart: gold per board is unknown
    boards: BoardCount | None = seen
    if mass and estimate.mass_g is not None:
        # where nothing else limits it, any number from that of the boards seen upward
        free = not count and not is_heap
        own = BoardCount.of({n: 1.0 / n for n in range(seen.low, _MOST + 1)}) if free else seen
        boards, by = with_mass(own, estimate.mass_g.draws(), _board_g(listing)), f"{by} and the stated mass"
    total = None if estimate.mass_g is None else Range.of(estimate.mass_g.draws())
    return LotAmount(boards, Range.of(estimate.gold_mg.draws()), total, by)


HEAP = "the heap"


def seen_number(listing: Listing) -> tuple[BoardCount, str]:
    """Number of boards by the photos: that of a heap where it is larger than the number of boards told apart."""
    heaps = sorted(listing.heaps.values(), key=lambda heap: heap.count.value)
    if heaps and heaps[-1].count.value > listing.board_count.value:
        return heaps[-1].count, HEAP
    return listing.board_count, "the boards in the photos"


def _board_g(listing: Listing) -> FloatArray:
    """Draws of the mean mass of one board, g: by the mean size of the outlines, or by a whole board of a heap."""
    sizes = [o.size_mm2 for m in (listing.fronts, listing.fronts_with_backs) if m is not None for o in m.boards]
    whole = [heap.whole_mm2 for heap in listing.heaps.values()]
    size_mm2 = float(np.median(whole)) if whole else float(np.mean([s for s in sizes if s is not None]))
    density: Input = lot_inputs()["areal-density"]
    return np.asarray(density.draws(DEFAULT_DRAWS) * size_mm2 * _CM2_PER_MM2)


def _numbers(draws: FloatArray) -> BoardCount:
    numbers, times = np.unique(np.maximum(np.round(draws), 1).astype(int), return_counts=True)
    return BoardCount.of(dict(zip(numbers.tolist(), times.astype(float).tolist(), strict=True)))
