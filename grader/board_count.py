"""How many boards a photo shows: a number that outlines tell with more or less certainty."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

LEVEL = 0.9
_LEAST = 1e-4  # chances below this are left out
_PARTS = 10_000  # in which chances are written
_MOST_TIMES = 2.0  # greatest ÷ least likely number, beyond which it must be asked for: gold per board goes with it


@dataclass(frozen=True)
class BoardCount:
    """The boards in one photo.

    Attributes:
        chances: numbers of boards, at least 1, that there may be, in rising order, each with its chance; they add up
            to 1.

    Raises:
        ValueError: the chances are none of such numbers.
    """

    chances: tuple[tuple[int, float], ...]

    def __post_init__(self) -> None:
        numbers = [n for n, _ in self.chances]
        total = math.fsum(p for _, p in self.chances)
        if not numbers or numbers != sorted(set(numbers)) or numbers[0] < 1 or abs(total - 1) > 1e-3:
            raise ValueError(self.chances)
        if not all(p > 0 and math.isfinite(p) for _, p in self.chances):
            raise ValueError(self.chances)

    @staticmethod
    def of(chances: Mapping[int, float]) -> BoardCount:
        """From chances of any total; those of less than one board count as one board's."""
        total = math.fsum(chances.values())
        kept: dict[int, float] = {}
        for number, chance in sorted(chances.items()):
            if chance >= _LEAST * total:
                kept[max(number, 1)] = kept.get(max(number, 1), 0.0) + chance
        total = math.fsum(kept.values())
        return BoardCount(tuple((n, p / total) for n, p in kept.items()))

    @staticmethod
    def exactly(number: int) -> BoardCount:
        """A number that is known."""
        return BoardCount(((number, 1.0),))

    @property
    def value(self) -> int:
        """The median."""
        return self._quantile(0.5)

    @property
    def low(self) -> int:
        """Least number of the range that holds the true one nine times in ten."""
        return self._quantile((1 - LEVEL) / 2)

    @property
    def high(self) -> int:
        """Its greatest number."""
        return self._quantile((1 + LEVEL) / 2)

    @property
    def is_exact(self) -> bool:
        """Whether there is but one number."""
        return len(self.chances) == 1

    @property
    def is_sure(self) -> bool:
        """Whether the likely numbers lie near enough to each other to divide by."""
        return self.high <= _MOST_TIMES * self.low

    def up_to(self, most: float) -> BoardCount | None:
        """What is left of it when there are known to be no more boards; None if nothing is."""
        left = {n: p for n, p in self.chances if n <= most}
        return BoardCount.of(left) if left else None

    def words(self) -> str:
        """The number as it is shown: ``5 boards (4 to 6)``."""
        known = f"{self.value} board{'s' if self.value != 1 else ''}"
        return known if self.low == self.high else f"{known} ({self.low} to {self.high})"

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "value": self.value,
            "low": self.low,
            "high": self.high,
            "level": LEVEL,
            "chances": {str(n): p for n, p in self.rounded().chances},
        }

    @staticmethod
    def from_json(data: Mapping[str, Any]) -> BoardCount:
        """The inverse of ``as_json``.

        Raises:
            ValueError: the object is not one that ``as_json`` writes.
        """
        try:
            chances = {int(n): float(p) for n, p in data["chances"].items()}
        except (KeyError, TypeError, AttributeError, ValueError, OverflowError) as error:
            raise ValueError(data) from error
        if any(n < 1 or not p > 0 or not math.isfinite(p) for n, p in chances.items()):
            raise ValueError(data)
        if abs(math.fsum(chances.values()) - 1) > 0.01:
            raise ValueError(data)
        return BoardCount.of(chances).rounded()

    def rounded(self) -> BoardCount:
        """The same in whole ten-thousandths that add up to 1, as it is written: rounding again changes nothing."""
        total = math.fsum(p for _, p in self.chances)
        parts = {n: _PARTS * p / total for n, p in self.chances}
        whole = {n: math.floor(part) for n, part in parts.items()}
        most_cut_first = sorted(parts, key=lambda n: whole[n] - parts[n])
        for n in most_cut_first[: _PARTS - sum(whole.values())]:
            whole[n] += 1
        return BoardCount(tuple((n, count / _PARTS) for n, count in whole.items() if count))

    def _quantile(self, share: float) -> int:
        """The least number that the count does not exceed with at least this chance."""
        total = 0.0
        for number, chance in self.chances:
            total += chance
            if total >= share - 1e-9:
                return number
        return self.chances[-1][0]
