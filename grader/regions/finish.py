"""Hard gold or immersion gold, from geometry and place. Colour shows neither the finish nor the thickness.

Edge contacts wear by sliding, so standards ask for hard gold on them; pads and planes are plated by immersion. Shape
and place give a verdict; together with what the segmenter saw, it becomes a chance. Where the chance is near even,
the finish is left undetermined and its thickness range spans both; elsewhere the remaining doubt goes into areas and
gold.
"""

from __future__ import annotations

import functools
import math
from typing import Any

from calibration.finishes import HARD_GOLD, IMMERSION_GOLD, UNDETERMINED
from calibration.packaged import packaged_toml
from calibration.scale import Scale
from grader.model import Finish
from grader.regions.model import ContactRow
from grader.regions.rows import PlatedPiece

# The shortest published edge contacts are about 2 mm long (small-outline memory modules, from memory), the longest
# pads of surface-mounted packages about as long: below this, only its place at the edge identifies a row.
_LONG_MM = 2.4
_SHORTEST_MM = 1.7
_MANY, _FEW = 8, 4
_SLENDER = 1.8
_EVEN = 0.06
_STRIP_MM, _STRIP_ASPECT = 6.5, 2.5
_STRIP_WIDTH_MM = (1.5, 10.0)
EDGE_GAP_MM = 2.0  # between a contact's outer end and the edge: bevel and the outline's own error


def finish_of_row(row: ContactRow, *, with_scale: bool) -> Finish:
    """Finish of a row of alike contacts."""
    slender = row.contact_length >= _SLENDER * row.contact_width
    if not with_scale:
        return HARD_GOLD if row.at_edge is not False and slender and row.count >= _MANY else UNDETERMINED
    if row.contact_length < _SHORTEST_MM:
        return IMMERSION_GOLD
    if row.at_edge and slender:
        return HARD_GOLD
    if row.count < _FEW:
        return IMMERSION_GOLD
    even = row.pitch is not None and row.length_spread < _EVEN
    if slender and even and row.contact_length >= _LONG_MM and (row.count >= _MANY or row.at_edge is None):
        return HARD_GOLD
    return IMMERSION_GOLD if row.at_edge is False and not even else UNDETERMINED


def finish_of_loose(piece: PlatedPiece, edge_gap: float | None, scale: Scale | None) -> Finish:
    """Finish of a piece that is in no row: a strip of contacts run together at an edge, otherwise a pad.

    Args:
        piece: measured in mm where scale is known.
        edge_gap: distance from its side to the board's edge, same unit; None without an outline.
        scale: of the photo.
    """
    if scale is None:
        return UNDETERMINED
    low, high = _STRIP_WIDTH_MM
    strip = piece.length >= max(_STRIP_MM, _STRIP_ASPECT * piece.width) and low <= piece.width <= high
    if not strip:
        return IMMERSION_GOLD
    # the gap is measured from half the length; along an edge it is the width that faces it
    facing = edge_gap + (piece.length - piece.width) / 2 if edge_gap is not None else None
    if facing is None or facing > EDGE_GAP_MM:
        return UNDETERMINED
    return HARD_GOLD


def hard_chance(verdict: Finish, seen: float | None) -> float:
    """Chance that plating is hard gold.

    Args:
        verdict: what shape and place say.
        seen: chance of a contact as the segmenter saw it, 0..1; None if it does not report one.
    """
    figures = _figures()
    if seen is None:
        return float(figures["verdict_alone"][verdict])
    both = figures["verdict_and_seen"]
    likely = min(max(seen, both["least_seen"]), 1 - both["least_seen"])
    return 1 / (1 + math.exp(-both[verdict] - both["weight"] * math.log(likely / (1 - likely))))


def finish_of_chance(chance: float) -> tuple[Finish, float]:
    """The likelier finish and the chance of the other; near even chances, undetermined without such a chance."""
    if 1 / 3 < chance < 2 / 3:
        return UNDETERMINED, 0.0
    return (HARD_GOLD, 1 - chance) if chance > 0.5 else (IMMERSION_GOLD, chance)


@functools.cache
def _figures() -> dict[str, Any]:
    return packaged_toml("grader.regions", "data/finish.toml")
