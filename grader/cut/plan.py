"""What a cut plan is: cuts, and the pieces that they leave."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from grader.cut.rules import Through

Axis = Literal[0, 1]
# a plan counts as optimal when its bound is as near as rounding
_EQUAL = 1e-9


@dataclass(frozen=True)
class Cut:
    """A straight cut through a whole piece.

    Attributes:
        axis: the axis along which ``at_mm`` is measured; the cut runs square to it.
        at_mm: middle of the kerf, from that axis's first edge.
        from_mm: where it begins on the other axis.
        to_mm: where it ends.
    """

    axis: Axis
    at_mm: float
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Piece:
    """A rectangle of board between cuts, mm in the board's axes; kept, or thrown as bare."""

    u0_mm: float
    u1_mm: float
    v0_mm: float
    v1_mm: float
    kept: bool

    @property
    def sides_mm(self) -> tuple[float, float]:
        """Its size along both axes."""
        return self.u1_mm - self.u0_mm, self.v1_mm - self.v0_mm


@dataclass(frozen=True)
class Plan:
    """Cuts in the order in which they are made, and what they leave.

    Attributes:
        cuts: in order.
        pieces: all of them.
        cost: of processing what is kept, and of the cuts.
        bound: no straight cuts through whole pieces, along the board's axes, cost less; equal to ``cost`` where the
            plan is optimal.
        lost: share of the gold thrown or sawn to dust.
        through: what its cuts pass through.
    """

    cuts: tuple[Cut, ...]
    pieces: tuple[Piece, ...]
    cost: float
    bound: float
    lost: float
    through: Through

    @property
    def kept(self) -> tuple[Piece, ...]:
        """Pieces to process."""
        return tuple(p for p in self.pieces if p.kept)

    @property
    def is_optimal(self) -> bool:
        """Whether nothing cheaper exists."""
        return self.cost <= self.bound + _EQUAL * max(1.0, abs(self.cost))

    def turned(self) -> Plan:
        """The same plan with the board's axes swapped."""
        return replace(
            self,
            cuts=tuple(replace(c, axis=0 if c.axis == 1 else 1) for c in self.cuts),
            pieces=tuple(Piece(p.v0_mm, p.v1_mm, p.u0_mm, p.u1_mm, p.kept) for p in self.pieces),
        )
