"""The check bar of our printed target as the user measured it: one printer, one file."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

from calibration.digits import as_given
from calibration.distributions import Distribution
from calibration.errors import DataFileError, UsageError
from calibration.files import advice_for, is_there, write_whole
from calibration.reading import FileKind, json_of, read_text
from calibration.sourced import load_figures
from calibration.target import CHECK_BAR_MM

# beyond these limits, the wrong thing was measured, or the page was printed to fit another paper
_FACTOR_LOW, _FACTOR_HIGH = 0.9, 1.1
_AGAIN = "Measure the check bar and store its length again."
_FILE = FileKind(code="print-check", what="a measured check bar", most_bytes=10_000, fix=_AGAIN)


@dataclass(frozen=True)
class PrintCheck:
    """A measured check bar.

    Attributes:
        bar_mm: its measured length.

    Raises:
        UsageError: a length that the bar cannot have.
    """

    bar_mm: float

    def __post_init__(self) -> None:
        low, high = _FACTOR_LOW * CHECK_BAR_MM, _FACTOR_HIGH * CHECK_BAR_MM
        if not (math.isfinite(self.bar_mm) and low <= self.bar_mm <= high):
            raise UsageError(
                "bar-invalid",
                f"A check bar of {as_given(self.bar_mm)} mm cannot be right; it was drawn {CHECK_BAR_MM:g} mm long.",
                f"Print the target at 100 % and measure the bar from tick to tick ({low:g} to {high:g} mm).",
            )

    def print_factor(self) -> Distribution:
        """Printed ÷ drawn length, with the uncertainty of reading a rule."""
        figures = load_figures("scale_figures")
        factor = self.bar_mm / CHECK_BAR_MM
        reading = figures["rule_reading_sd"].value / CHECK_BAR_MM
        return Distribution("lognormal", (factor, math.hypot(reading, figures["rule_graduation_sd"].value) / factor))


def load_print_check(path: Path) -> PrintCheck | None:
    """The stored check bar, or None if none was stored.

    Raises:
        DataFileError: the file exists but does not contain a check bar.
    """
    if not is_there(path):
        return None
    text = read_text(path, _FILE)
    try:
        return PrintCheck(_number(json_of(text)["bar_mm"]))
    except (ValueError, KeyError, TypeError) as error:
        raise DataFileError("print-check-invalid", f"{path} holds no measured check bar.", _AGAIN) from error


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError(value)
    return float(value)


def save_print_check(check: PrintCheck, path: Path) -> None:
    """Store a check bar; the file is written completely or stays as it was. Missing folders are created.

    Raises:
        UsageError: the place cannot be written to.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            "cannot-write", f"{path.parent} cannot be made ({error.strerror}).", advice_for(error)
        ) from error
    write_whole(path, (json.dumps({"schema": 1, "bar_mm": check.bar_mm}) + "\n").encode())
