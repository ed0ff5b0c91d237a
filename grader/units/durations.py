"""Times as typed: hours of work, weeks until a sale, a day."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date

from calibration.errors import UnitError, UsageError
from grader.units.numbers import NUMBER, number, plain

# Days of 24 hours: a span of the calendar. Hours of work are typed in hours or minutes.
_HOURS: Mapping[str, float] = {"min": 1 / 60, "minute": 1 / 60, "h": 1.0, "hr": 1.0, "hour": 1.0}
_DAYS: Mapping[str, float] = {"d": 1.0, "day": 1.0, "week": 7.0, "wk": 7.0, "month": 365.2425 / 12}


def parse_hours(text: str) -> float:
    """Hours of work from "3 h", "45 min"; zero is allowed.

    Raises:
        UnitError: ``unit-missing``, ``unit-wrong-kind``, ``value-negative``, or as for any number.
    """
    return _duration(text, _HOURS, "a time of work such as '3 h' or '45 min'")


def parse_weeks(text: str) -> float:
    """Weeks of the calendar from "6 weeks", "10 days", "2 months"; zero is allowed.

    Raises:
        UnitError: as ``parse_hours``.
    """
    return _duration(text, _DAYS, "a span such as '6 weeks', '10 days' or '2 months'") / 7


def parse_day(text: str) -> date:
    """A day from "2026-11-20" or "today".

    Raises:
        UsageError: ``date-unreadable``.
    """
    if text.strip().lower() == "today":
        return date.today()
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise UsageError(
            "date-unreadable", f"'{text}' is not a date.", "Write it as year-month-day, such as 2026-11-20, or today."
        ) from error


def _duration(text: str, units: Mapping[str, float], examples: str) -> float:
    match = re.fullmatch(rf"({NUMBER})\s*([^\W\d_]*)\.?", plain(text, "a time", examples))
    if match is None:
        raise UnitError("quantity-unreadable", f"'{text.strip()}' is not a time.", f"Write {examples}.")
    digits, word = match.groups()
    if not word:
        raise UnitError("unit-missing", f"'{text.strip()}' has no unit.", f"Write {examples}.")
    lower = word.lower()
    factor = units.get(lower, units.get(lower.removesuffix("s")))
    if factor is None:
        raise UnitError("unit-wrong-kind", f"'{word}' does not fit here.", f"Write {examples}.")
    value = float(number(digits, examples)) * factor
    if value < 0:
        raise UnitError("value-negative", f"'{text.strip()}' is negative.", f"Write {examples}.")
    return value
