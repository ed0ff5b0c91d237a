"""What a lot holds, in portions that can be dealt with each in its own way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from grader.model import EMPTY, ProductModel
from grader.valuation.quantities import Quantity, Values

_G_PER_MG = 1e-3
_KG_PER_G = 1e-3


@dataclass(frozen=True)
class Portion:
    """Boards of a lot that whoever sorts it puts on one heap.

    Attributes:
        name: in plain words, such as "memory modules with plating".
        gold_mg: in their visible plating.
        mass_g: of the boards; None where it is not known.
    """

    name: str
    gold_mg: ProductModel
    mass_g: ProductModel | None = None

    def models(self) -> Iterator[ProductModel]:
        """All that is known of it."""
        yield self.gold_mg
        if self.mass_g is not None:
            yield self.mass_g


@dataclass(frozen=True)
class Stock:
    """Some portions together, drawn.

    Attributes:
        gold_g: in the visible plating, g; never below zero.
        boards_kg: mass of the boards; None where it is not known.
    """

    gold_g: Quantity
    boards_kg: Quantity | None

    @staticmethod
    def of(portions: Iterable[Portion], values: Values, n: int) -> Stock:
        """Portions together; their mass is known where that of each is."""
        held = tuple(portions)
        gold = sum((p.gold_mg for p in held), EMPTY)
        mass = mass_of(held)
        return Stock(
            Quantity.present(gold, _G_PER_MG, values, n),
            None if mass is None else Quantity.present(mass, _KG_PER_G, values, n),
        )


def mass_of(portions: Sequence[Portion]) -> ProductModel | None:
    """Mass of portions together, g; None where that of one is not known."""
    masses = [p.mass_g for p in portions]
    return None if None in masses else sum((m for m in masses if m is not None), EMPTY)
