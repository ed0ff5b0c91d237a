"""A figure as a person takes it: a median with its range and its unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from calibration.errors import UnitError, UsageError
from grader.model import Range
from grader.units import format_range, parse_area_mm2, parse_mass_g

# how many of a figure's unit one of the wanted unit is
_SIZES: Mapping[str, Callable[[str], float]] = {
    "mg": lambda unit: parse_mass_g(f"1 {unit}", precious=True) * 1e3,
    "mm²": lambda unit: parse_area_mm2(f"1 {unit}"),
}


@dataclass(frozen=True, repr=False)
class Figure:
    """A median with the range that holds the truth with probability ``level``.

    It cannot be added to another one: medians and bounds do not add up, and two photos share errors. Hand all photos
    to ``grader.value``, which draws them together.

    Attributes:
        median: in ``unit``, like the bounds.
        low: lower bound.
        high: upper bound.
        unit: "mg", "mm²", "USD" and the like.
        level: probability that the truth lies between the bounds.

    Examples:
        >>> from grader import Figure
        >>> gold = Figure(median=1234.5, low=800.0, high=1900.0, unit="mg")
        >>> gold
        1.23 g (0.80 to 1.90 g, 90 % sure)
        >>> gold.low
        800.0
        >>> gold.to("ozt")
        0.040 ozt (0.026 to 0.061 ozt, 90 % sure)
    """

    median: float
    low: float
    high: float
    unit: str
    level: float = 0.9

    @staticmethod
    def of(value: Range, unit: str) -> Figure:
        """A range with its unit."""
        return Figure(value.value, value.low, value.high, unit, value.level)

    def to(self, unit: str) -> Figure:
        """The same in another unit: masses in mg in "g", "ozt", "dwt" and so on, areas in mm² in "cm2" or "sq in".

        Raises:
            UnitError: ``unit-wrong-kind``, ``unit-unknown`` and the like; ``unit-fixed`` for money and other units.
        """
        if self.unit not in _SIZES:
            raise UnitError(
                "unit-fixed",
                f"A figure in {self.unit} cannot be turned into {unit}.",
                "Only masses in mg and areas in mm² can be given in other units.",
            )
        one = _SIZES[self.unit](unit)
        return Figure(self.median / one, self.low / one, self.high / one, unit, self.level)

    def to_dict(self) -> dict[str, Any]:
        """Plain values, for JSON or a table."""
        return {"median": self.median, "low": self.low, "high": self.high, "level": self.level, "unit": self.unit}

    def __str__(self) -> str:
        return format_range(Range(self.median, self.low, self.high, self.level), self.unit)

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        """How Jupyter shows it."""
        middle, bracket, rest = str(self).partition(" (")
        return f"<b>{escape(middle)}</b>{escape(bracket + rest)}"


def data_frame(rows: Sequence[Mapping[str, Any]]) -> Any:
    """Rows as a pandas DataFrame.

    Raises:
        UsageError: ``pandas-missing``.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise UsageError(
            "pandas-missing",
            "A data frame needs pandas, which is not installed.",
            "Install it (pip install pandas), or take rows(), which gives a list of dictionaries.",
        ) from error
    return pd.DataFrame.from_records(list(rows))
