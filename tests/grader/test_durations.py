"""Times as typed."""

from __future__ import annotations

import pytest

from calibration.errors import UnitError
from grader.units import parse_hours, parse_weeks


@pytest.mark.parametrize(
    ("text", "hours"), [("3 h", 3.0), ("45 min", 0.75), ("1,5 hours", 1.5), ("2hrs", 2.0), ("0 h", 0.0)]
)
def test_hours(text: str, hours: float) -> None:
    assert parse_hours(text) == pytest.approx(hours)


@pytest.mark.parametrize(
    ("text", "weeks"), [("6 weeks", 6.0), ("10 days", 10 / 7), ("2 months", 2 * 30.436875 / 7), ("1 wk", 1.0)]
)
def test_weeks(text: str, weeks: float) -> None:
    assert parse_weeks(text) == pytest.approx(weeks)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("3", "unit-missing"),
        ("-3 h", "value-negative"),
        ("3 weeks", "unit-wrong-kind"),
        ("3 kg", "unit-wrong-kind"),
        ("soon", "quantity-unreadable"),
        ("", "quantity-empty"),
        ("nan h", "value-not-finite"),
    ],
)
def test_hours_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_hours(text)
    assert caught.value.code == code
