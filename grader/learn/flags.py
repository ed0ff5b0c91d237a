"""Yields that are very unlikely under the belief, each with possible reasons. Nothing is dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from calibration.belief import UNLIKELY, Belief

# a mass typed or read in one unit for another: how many times too large it then is
UNIT_SLIPS = {
    "milligrams taken for grams": 1000.0,
    "grams taken for milligrams": 1 / 1000,
    "grams taken for troy ounces": 31.1035,
    "troy ounces taken for grams": 1 / 31.1035,
    "grains taken for grams": 15.4324,
    "grams taken for grains": 1 / 15.4324,
}
_NEAR = 1.6  # of the factor, either way


@dataclass(frozen=True)
class Flag:
    """A yield worth a look.

    Attributes:
        yield_id: its number.
        ratio: weighed ÷ expected by all other yields.
        chance: of lying as far out, either way.
        reasons: candidates, the likeliest first.
    """

    yield_id: int
    ratio: float
    chance: float
    reasons: tuple[str, ...]


def flags(belief: Belief) -> tuple[Flag, ...]:
    """Yields with a chance below one in a hundred, the least likely first.

    Among many sound yields one in a hundred is flagged too.
    """
    found = [
        Flag(int(name), ratio, chance, reasons(ratio))
        for name, (ratio, chance) in belief.surprise().items()
        if chance < UNLIKELY
    ]
    return tuple(sorted(found, key=lambda f: f.chance))


def reasons(ratio: float) -> tuple[str, ...]:
    """Possible reasons for a yield far above or below expectation."""
    slips = [f"wrong unit: {words}" for words, factor in UNIT_SLIPS.items() if 1 / _NEAR < ratio / factor < _NEAR]
    return (*slips, *_usual(ratio))


def _usual(ratio: float) -> Sequence[str]:
    if ratio > 1:
        return (
            "gold carried over from an earlier batch",
            "boards that were not photographed went in too",
            "entered for the wrong lot",
            "what was weighed is not clean gold",
        )
    return (
        "gold left in filters or solution: it may come with the next batch",
        "not all photographed boards went in",
        "entered for the wrong lot",
        "the process changed: mark it",
    )
