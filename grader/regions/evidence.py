"""What the photo shows of an outline that speaks for its being one board, no more and no less."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Evidence:
    """Of one outline.

    Attributes:
        is_alone: whether no other board touches it.
        sides_seen: share of the sides of its rectangle that the photo shows, 0..1; 0 if it has none.
        fits: what rectangle and outline share ÷ what either covers, 0..1; 0 if it has none.
        rectangles: how many were found in it; more than one where they could not be distinguished.
    """

    is_alone: bool = True
    sides_seen: float = 0.0
    fits: float = 0.0
    rectangles: int = 0
