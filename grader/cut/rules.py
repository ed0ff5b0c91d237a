"""What a cut plan has to respect: the tool, the vessel, the gold that may be lost, and what things cost."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.errors import UsageError
from grader.units import in_digits

_ROUNDING = 1e-9
_HARDLY_MM = 0.1  # lengths so near to each other need no lines of their own
Through = Literal["nothing", "plating", "contacts"]


@dataclass(frozen=True)
class Vessel:
    """An upright round vessel.

    Attributes:
        diameter_mm: inside.
        fill_mm: height of the liquid.
        thickness_mm: of the boards that go in.
    """

    diameter_mm: float
    fill_mm: float
    thickness_mm: float = 1.6

    def __post_init__(self) -> None:
        _above_zero("vessel-invalid", self.diameter_mm, self.fill_mm, self.thickness_mm)

    def fits(self, a_mm: float, b_mm: float) -> bool:
        """Whether a flat rectangle goes wholly under the liquid, standing on a side or lying; never leaning."""
        return bool(self.takes(np.float64(a_mm), np.float64(b_mm)))

    def takes(self, a_mm: FloatArray | np.float64, b_mm: FloatArray | np.float64) -> NDArray[np.bool_]:
        """The same for many rectangles at once."""
        lies = np.hypot(a_mm, b_mm) <= self.diameter_mm
        stands = [
            (np.hypot(across, self.thickness_mm) <= self.diameter_mm) & (up <= self.fill_mm)
            for across, up in ((a_mm, b_mm), (b_mm, a_mm))
        ]
        return np.asarray(lies | stands[0] | stands[1])

    @property
    def longest_mm(self) -> float:
        """No rectangle with a longer side fits."""
        return max(self.diameter_mm, self.fill_mm)

    @property
    def lengths_mm(self) -> tuple[float, ...]:
        """Sides up to which rectangles fit that stand."""
        across = math.sqrt(max(0.0, self.diameter_mm**2 - self.thickness_mm**2))
        shorter, longer = sorted((across, self.fill_mm))
        return (shorter,) if longer - shorter < _HARDLY_MM else (shorter, longer)


@dataclass(frozen=True)
class LongestPiece:
    """A limit on the longer side of each piece that is kept."""

    longest_mm: float

    def __post_init__(self) -> None:
        _above_zero("longest-piece-invalid", self.longest_mm)

    def fits(self, a_mm: float, b_mm: float) -> bool:
        """Whether a rectangle keeps to it."""
        return max(a_mm, b_mm) <= self.longest_mm

    def takes(self, a_mm: FloatArray | np.float64, b_mm: FloatArray | np.float64) -> NDArray[np.bool_]:
        """The same for many rectangles at once."""
        return np.asarray(np.maximum(a_mm, b_mm) <= self.longest_mm)

    @property
    def lengths_mm(self) -> tuple[float, ...]:
        """Sides up to which rectangles fit."""
        return (self.longest_mm,)


@dataclass(frozen=True)
class CutRules:
    """How boards may be cut.

    Attributes:
        fit: what each kept piece must fit.
        most_lost: share of the board's gold that may be thrown away or sawn to dust.
        kerf_mm: width that the tool removes; 0 for a shear.
        clearance_mm: from the side of a cut to the nearest gold, the camera's uncertainty included.
        least_piece_mm: no side of any piece may be shorter, for it could not be held.
        cost_per_g: of processing a gram of board, in any currency.
        cost_per_cut: in the same.
        through: what a cut may pass through; contacts only if asked for.
    """

    fit: Vessel | LongestPiece
    most_lost: float = 0.005
    kerf_mm: float = 0.0
    clearance_mm: float = 0.5
    least_piece_mm: float = 3.0
    cost_per_g: float = 0.03
    cost_per_cut: float = 0.03
    through: Through = "nothing"

    @property
    def reach_mm(self) -> float:
        """From the middle of a cut to the nearest gold, at least."""
        return self.kerf_mm / 2 + self.clearance_mm

    def allowed_mg(self, gold_mg: float) -> float:
        """How much of a board's gold may be lost."""
        return self.most_lost * gold_mg * (1 + _ROUNDING)

    def __post_init__(self) -> None:
        amounts = (self.kerf_mm, self.clearance_mm, self.least_piece_mm, self.cost_per_g, self.cost_per_cut)
        if not all(math.isfinite(x) and x >= 0 for x in amounts):
            raise UsageError(
                "cut-rules-invalid", "Kerf, clearance and costs cannot be negative.", "Give 0 or more for each."
            )
        if not 0 <= self.most_lost < 1:
            raise UsageError(
                "most-lost-invalid",
                f"A loss of {in_digits(self.most_lost, 6)} of the gold is not possible.",
                'Give "0.5 %".',
            )


def _above_zero(code: str, *lengths: float) -> None:
    if not all(math.isfinite(x) and x > 0 for x in lengths):
        raise UsageError(code, "A vessel or a longest piece must be larger than 0 mm.", 'Give it as "100 mm".')
