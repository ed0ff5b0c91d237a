"""The contents of a lot, in portions that can be dealt with separately."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from grader.model import EMPTY, ProductModel
from grader.valuation.quantities import ChargePer, Quantity, Values

_G_PER_MG = 1e-3
_KG_PER_G = 1e-3


@dataclass(frozen=True)
class Portion:
    """Boards of a lot that whoever sorts it puts on one heap. What is None is not known.

    Attributes:
        name: in plain words, such as "memory modules with plating".
        gold_mg: in their visible plating.
        mass_g: of the boards.
        pieces_g: of what is cut off them to be stripped or sold: rows of contacts, nothing if no row was seen.
        gold_in_pieces: share of the gold that is on these pieces, 0..1.
        gold_stripped: share of the gold that goes into the vessels, 0..1; a cut plan may throw a little away.
        stripped_g: of what goes into the vessels: these pieces, and boards with gold but no row as they are.
        boards: how many.
        cuts: to part the pieces from the boards, for each board.
    """

    name: str
    gold_mg: ProductModel
    mass_g: ProductModel | None = None
    pieces_g: ProductModel | None = None
    gold_in_pieces: float = 1.0
    gold_stripped: float = 1.0
    stripped_g: ProductModel | None = None
    boards: ProductModel | None = None
    cuts: float | None = None

    @property
    def can_be_planned(self) -> bool:
        """Whether the work on it can: boards, cuts and what goes into the vessels are known."""
        return None not in (self.boards, self.cuts, self.stripped_g)

    def models(self) -> Iterator[ProductModel]:
        """All that is known of it."""
        yield from (m for m in (self.gold_mg, self.mass_g, self.pieces_g, self.stripped_g, self.boards) if m)


@dataclass(frozen=True)
class Stock:
    """Some portions together, drawn. What is None is not known.

    Attributes:
        gold_g: in the visible plating that goes into the vessels, g; never below zero.
        boards_kg: mass of the boards.
        pieces_kg: mass of the pieces that are cut off.
        gold_in_pieces_g: gold on them, g.
        stripped_kg: mass of what goes into the vessels.
        boards: how many.
        cuts: to part the pieces from the boards, of all boards.
    """

    gold_g: Quantity
    boards_kg: Quantity | None
    pieces_kg: Quantity | None
    gold_in_pieces_g: Quantity
    stripped_kg: Quantity | None
    boards: Quantity | None
    cuts: Quantity | None

    @staticmethod
    def of(portions: Iterable[Portion], values: Values, n: int) -> Stock:
        """Portions together; what is known of each is known of all."""
        held = tuple(portions)

        def drawn(models: Iterable[ProductModel | None], unit: float = 1.0) -> Quantity | None:
            total = _sum(models)
            return None if total is None else Quantity.present(total, unit, values, n)

        gold = sum((p.gold_mg.times((), p.gold_stripped) for p in held), EMPTY)
        on_pieces = sum((p.gold_mg.times((), p.gold_in_pieces) for p in held), EMPTY)
        return Stock(
            Quantity.present(gold, _G_PER_MG, values, n),
            drawn((p.mass_g for p in held), _KG_PER_G),
            drawn((p.pieces_g for p in held), _KG_PER_G),
            Quantity.present(on_pieces, _G_PER_MG, values, n),
            drawn((p.stripped_g for p in held), _KG_PER_G),
            drawn(p.boards for p in held),
            drawn(None if p.boards is None or p.cuts is None else p.boards.times((), p.cuts) for p in held),
        )


def _sum(models: Iterable[ProductModel | None]) -> ProductModel | None:
    known = list(models)
    return None if None in known else sum((m for m in known if m is not None), EMPTY)


def known_of(portions: Sequence[Portion], *, planned: bool) -> frozenset[ChargePer]:
    """What amounts of money can be per where all of this is stripped; ``planned`` with a plan of the work."""
    fields: dict[ChargePer, str] = {"kg": "mass_g", "kg of pieces": "stripped_g", "board": "boards", "cut": "cuts"}
    known = {per for per, name in fields.items() if all(getattr(p, name) is not None for p in portions)}
    by_plan: set[ChargePer] = {"load", "l", "h"} if planned else set()
    return frozenset({"g of gold", *known, *by_plan})


def total_mass_g(portions: Sequence[Portion]) -> ProductModel | None:
    """Mass of portions together, g; None if that of one is not known."""
    return _sum(p.mass_g for p in portions)
