"""Ranges and figures as people write them: no power of ten, a minus that is one."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.units import format_money, in_digits, round_to, spelled_range


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("3-4", "3..4"),
        ("3 – 4 kg", "3..4 kg"),
        ("3 to 4 kg", "3..4 kg"),
        ("4.5-5 kg", "4.5..5 kg"),
        ("about 30", "27..33"),
        ("~31", "27..35"),
        ("30", "30"),
        ("28..32", "28..32"),
        ("1-1/2 kg", "1-1/2 kg"),
        ("-3 kg", "-3 kg"),
        ("lots", "lots"),
    ],
)
def test_ranges_in_words_become_ranges_with_dots(typed: str, read: str) -> None:
    assert spelled_range(typed, whole=True) == read


def test_about_a_mass_is_a_tenth_either_way() -> None:
    assert spelled_range("about 5 kg") == "4.5..5.5 kg"


@given(st.floats(-1e12, 1e12, allow_subnormal=False), st.integers(1, 6))
def test_no_figure_is_written_as_a_power_of_ten(value: float, digits: int) -> None:
    text = in_digits(value, digits)
    assert re.fullmatch(r"−?\d+(\.\d+)?", text)
    back = float(text.replace("−", "-"))
    assert back == pytest.approx(value, rel=0.51 * 10 ** (1 - digits), abs=1e-320)


@pytest.mark.parametrize("text", [format_money(-14.35, "USD"), format_money(-140, "USD", 20), round_to(-3.2, 0.5)])
def test_less_than_nothing_has_a_minus_sign(text: str) -> None:
    assert text.startswith("−")
    assert "-" not in text
