"""Notices about a listing, from the contents of its photos."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.notices import Notice
from grader.listing.division import MatchDoubt
from grader.listing.model import ListingPhoto, LotBoard
from grader.listing.notices import notice
from grader.listing.seen import SeenPhoto
from grader.regions.heap import Heap

_UNSURE = 0.1
_MOST_NAMED = 6


def notices_of(
    photos: Sequence[SeenPhoto],
    boards: Sequence[LotBoard],
    doubts: Sequence[MatchDoubt],
    others: Sequence[ListingPhoto],
) -> list[Notice]:
    """Notices about photos that were left out, scales, heaps, unsure matches, and what no photo shows."""
    found = [notice("listing-photo-left-out", photo=p.name, why=p.error.message) for p in others if p.error]
    found += [notice("listing-copy", photo=p.name, other=p.copy_of) for p in others if p.copy_of]
    lent = [p.name for p in photos if p.is_lent]
    if lent:
        found.append(notice("listing-scale-borrowed", photos=", ".join(lent)))
    without = [p.name for p in photos if not p.has_scale]
    if without:
        found.append(notice("listing-without-scale", photos=", ".join(without)))
    found += [_heap_words(p.name, p.heap) for p in photos if p.heap is not None]
    parts = sum(not b.is_whole for b in boards)
    if parts:
        found.append(notice("listing-part-seen", boards=parts))
    unsure = [d for d in doubts if d.chance > _UNSURE]
    if unsure:
        told = ", ".join(_doubt_words(d) for d in unsure[:_MOST_NAMED])
        found.append(notice("listing-matches-unsure", boards=told))
    without_back = sum(len({each.face for each in b.looks}) < 2 for b in boards)
    if without_back:
        found.append(notice("listing-no-backs", boards=without_back))
    return found


def _heap_words(photo: str, heap: Heap) -> Notice:
    count = heap.count
    return notice("listing-heap", photo=photo, low=count.low, high=count.high, whole=heap.whole_mm2 / 100)


def _doubt_words(doubt: MatchDoubt) -> str:
    if doubt.is_none:
        return f"board {doubt.first + 1} may be none ({doubt.chance:.0%})"
    if doubt.second is not None:
        return f"boards {doubt.first + 1} and {doubt.second + 1} may be one ({doubt.chance:.0%})"
    return f"board {doubt.first + 1} may be two ({doubt.chance:.0%})"
