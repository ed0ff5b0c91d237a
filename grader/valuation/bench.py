"""The needs of the work on boards: the link from plans of cuts and batches to their price."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

from calibration.arrays import FloatArray
from calibration.inputs import Input
from grader.valuation.portions import Stock
from grader.valuation.quantities import ChargePer, Quantity, Values


@dataclass(frozen=True)
class Needs:
    """The needs of some work.

    Attributes:
        amounts: loads, litres of waste, own hours; unplanned ones are missing.
        chemicals: cost of reagents, filters and rinse water; None if not planned.
    """

    amounts: Mapping[ChargePer, Quantity] = field(default_factory=dict)
    chemicals: Quantity | None = None


class Bench(Protocol):
    """Plans of the work on boards."""

    def inputs(self) -> Iterable[Input]:
        """Every uncertain input of these plans."""

    def stripping(self, stock: Stock, values: Values) -> Needs:
        """Cutting the pieces off, stripping them and refining their gold."""

    def days(self, stock: Stock, values: Values) -> FloatArray | None:
        """How long stripping and refining take, days, float64 (n,); None if that is not planned."""

    def trimming(self, stock: Stock, values: Values) -> Needs:
        """Cutting the pieces off."""

    def packing(self, stock: Stock, values: Values) -> Needs:
        """Sorting and packing boards as they are."""
