"""What weighed lots taught of the seller who chose the boards in the photos of a lot."""

from __future__ import annotations

from dataclasses import replace

from grader.learn.batches import same_name
from grader.learn.newest import Newest
from grader.lot import Lot


def with_learned_choice(lot: Lot, found: Newest | None, seller: str) -> Lot:
    """The lot, its unseen boards by what this seller left out before; unchanged where no such lot was weighed."""
    if found is None or same_name(seller) not in found.belief.layout.picked:
        return lot
    return Lot(tuple(replace(p, picking=found.picking(p.name, seller)) for p in lot.parts))
