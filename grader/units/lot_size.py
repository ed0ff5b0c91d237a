"""How much a lot is, for prices by weight or by the board."""

from __future__ import annotations

from dataclasses import dataclass

from grader.units.quantities import parse_mass_g


@dataclass(frozen=True)
class LotSize:
    """How much a lot is, as far as prices by weight or by the board need it.

    Attributes:
        mass_kg: of its boards, median; None if it is not known.
        boards: how many there are likely to be; None if that is not known.
    """

    mass_kg: float | None = None
    boards: float | None = None

    def each(self, price: float) -> dict[str, float | None]:
        """A price of the lot per kilogram, pound and board, by ``per_kg``, ``per_lb``, ``per_board``."""
        per_kg = price / self.mass_kg if self.mass_kg else None
        return {
            "per_kg": per_kg,
            "per_lb": None if per_kg is None else per_kg * parse_mass_g("1 lb") / 1e3,
            "per_board": price / self.boards if self.boards else None,
        }
