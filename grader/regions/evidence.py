"""Evidence in the photo that an outline is exactly one board."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OutlineEvidence:
    """Evidence for one outline.

    Attributes:
        is_alone: whether no other board touches it.
        sides_seen: share of the sides of its rectangle that the photo shows, 0..1; 0 if it has no rectangle.
        fits: area that rectangle and outline share ÷ area that either covers, 0..1; 0 if it has no rectangle.
        rectangles: how many were found in it; more than one where they could not be distinguished.
    """

    is_alone: bool = True
    sides_seen: float = 0.0
    fits: float = 0.0
    rectangles: int = 0
