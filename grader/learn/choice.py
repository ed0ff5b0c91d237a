"""What weighed lots taught of boards that no photo shows: what a seller left out, and how much such boards vary."""

from __future__ import annotations

from dataclasses import replace

from grader.learn.batches import same_name
from grader.learn.newest import Newest
from grader.lot import Lot


def with_learned_choice(lot: Lot, found: Newest | None, seller: str, part: str = "") -> Lot:
    """The lot, its unseen boards by what was learned.

    Args:
        lot: as described.
        found: the newest belief; None leaves the lot as it is.
        seller: who chose the boards in the photos. One with whom no such lot was weighed is taken for any.
        part: name of the boards in the log, if all are of one; how they vary is known where such lots were weighed.
    """
    if found is None:
        return lot
    earlier = found.sources.seen.get(same_name(part), ()) if part and len(lot.parts) == 1 else ()
    chose = same_name(seller) in found.belief.layout.picked
    if not earlier and not chose:
        return lot
    return Lot(
        tuple(
            replace(p, picking=found.picking(p.name, seller) if chose else p.picking, earlier=earlier)
            for p in lot.parts
        )
    )
