"""Gold on photographed boards: the observations from which the spread between boards is estimated."""

from __future__ import annotations

from dataclasses import dataclass


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
