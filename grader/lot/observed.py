"""Gold on photographed boards: the observations from which the spread between boards is estimated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from grader.measured import Measured


@dataclass(frozen=True)
class Observed:
    """Gold on some boards that cannot be distinguished, seen together.

    Attributes:
        gold: on all of them.
        boards: how many they are.
        size: the number or mass of the boards, to which gold is assumed proportional.
    """

    gold: float
    boards: int
    size: float


def observed_in(photo: Measured, boards: int, mass: float | None = None) -> list[Observed]:
    """What one photo shows: each board apart where as many outlines were found as there are boards.

    Boards of one part that were weighed together are taken to weigh by the area of their outlines.

    Args:
        photo: as measured.
        boards: how many it shows, at least one.
        mass: of all of them, in any unit, where gold is taken to go with mass; None where with their number.
    """
    gold, outlines = float(np.median(np.maximum(photo.gold.draws(), 0.0))), photo.boards
    on_outlines, outlined = sum(o.gold_value_mg for o in outlines), sum(o.size_mm2 for o in outlines)
    if len(outlines) != boards or boards == 1 or on_outlines <= 0 or (mass is not None and outlined <= 0):
        return [Observed(gold, boards, float(boards) if mass is None else mass)]
    return [
        Observed(gold * o.gold_value_mg / on_outlines, 1, 1.0 if mass is None else mass * o.size_mm2 / outlined)
        for o in outlines
    ]
