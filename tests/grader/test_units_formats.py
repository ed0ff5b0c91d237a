"""Masses in the unit a person likes: the same mass, with the digits that its range supports."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.model import Range
from grader.units import MassUnit, format_mass, format_range, together

# Troy ounce of 31.1034768 g and pennyweight of a twentieth of it (NIST Handbook 44, appendix C): exact.
MG_PER: dict[MassUnit, float] = {"mg": 1.0, "g": 1e3, "ozt": 31_103.4768, "dwt": 1_555.17384}


@pytest.mark.parametrize(
    ("liked", "shown"),
    [
        ("auto", "1.555 g"),
        ("mg", "1555 mg"),
        ("g", "1.555 g"),
        ("dwt", "1.0000 dwt"),
        ("ozt", "0.05000 ozt"),
    ],
)
def test_a_pennyweight_in_every_unit(liked: MassUnit, shown: str) -> None:
    assert format_mass(1555.17384, 12.0, liked) == shown


@given(st.floats(0.01, 1e6), st.sampled_from(list(MG_PER)), st.floats(0.01, 0.9))
def test_what_is_read_is_what_was_meant(mg: float, liked: MassUnit, spread: float) -> None:
    shown = format_range(Range(mg, mg * (1 - spread), mg * (1 + spread), 0.9), "mg", liked)
    number, unit = shown.split(" ")[:2]
    assert unit == liked
    # two digits of half the range: rounding moves a value by at most a twentieth of it
    assert float(number) * MG_PER[liked] == pytest.approx(mg, abs=mg * spread / 19)


def test_only_masses_change_their_unit() -> None:
    area = Range(10.0, 9.0, 11.0, 0.9)
    assert format_range(area, "mm²", "ozt") == format_range(area, "mm²")


def test_a_number_keeps_to_its_unit() -> None:
    lines = together("54.1 to 61.2 mm², 90 % sure").split(" ")
    assert lines == ["54.1\N{NO-BREAK SPACE}to", "61.2\N{NO-BREAK SPACE}mm²,", "90\N{NO-BREAK SPACE}%", "sure"]
    assert together("no figure") == "no figure"
