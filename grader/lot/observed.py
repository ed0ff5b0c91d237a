"""Gold on boards as it was seen: the observations that a spread between boards is told from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Observed:
    """Gold on some boards that cannot be told apart, seen together.

    Attributes:
        gold: on all of them.
        boards: how many they are.
        size: what gold is taken to go with: their number, or their mass.
    """

    gold: float
    boards: int
    size: float
