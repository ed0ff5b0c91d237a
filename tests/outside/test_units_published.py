"""Units against published definitions.

Sources:
    International yard and pound agreement of 1959 (Federal Register 24 FR 5348): 1 yd = 0.9144 m and
        1 lb = 0.45359237 kg, both exact.
    NIST Handbook 44, appendix C: avoirdupois pound = 7000 grains = 16 oz; troy ounce = 480 grains = 20 pennyweights;
        US gallon = 231 cubic inches. Figures from memory of that table, the troy ounce also read as 12/175 lb.
    UK Weights and Measures Act 1985: imperial gallon = 4.54609 l, exact (from memory).
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from grader.units import (
    parse_area_mm2,
    parse_length_mm,
    parse_mass_g,
    parse_price_per_mass,
    parse_thickness_um,
    parse_volume_ml,
)

POUND_G = Fraction("453.59237")
GRAIN_G = POUND_G / 7000
INCH_MM = Fraction(9144, 360)


@pytest.mark.parametrize(
    ("text", "grams"),
    [
        ("1 lb", POUND_G),
        ("1 oz", POUND_G / 16),
        ("1 grain", GRAIN_G),
        ("1 ozt", Fraction("31.1034768")),
        ("1 ozt", POUND_G * 12 / 175),
        ("1 ozt", GRAIN_G * 480),
        ("1 dwt", Fraction("1.55517384")),
        ("1 dwt", GRAIN_G * 24),
        ("8 dwt", Fraction("12.44139072")),
        ("2 ozt", Fraction("62.2069536")),
        ("1 lb 2 oz", POUND_G * 18 / 16),
        ("1 stone", POUND_G * 14),
        ("1 carat", Fraction(1, 5)),
    ],
)
def test_masses(text: str, grams: Fraction) -> None:
    assert parse_mass_g(text) == float(grams)


def test_compound_weight_of_a_parcel_scale() -> None:
    assert parse_mass_g("1 lb 2 oz") == pytest.approx(510.29, abs=0.005)


def test_lengths() -> None:
    assert parse_length_mm("1 in") == float(INCH_MM) == 25.4
    assert parse_length_mm("1 yd") == 914.4
    assert parse_length_mm("1 mil") == 0.0254
    assert parse_thickness_um("1 microinch") == 0.0254
    assert parse_thickness_um("30 uin") == 0.762
    assert parse_thickness_um("50 uin") == 1.27


def test_areas_and_volumes() -> None:
    assert parse_area_mm2("1 sq in") == float(INCH_MM**2)
    assert parse_volume_ml("1 US gal") == pytest.approx(float(231 * INCH_MM**3 / 1000), rel=1e-15)
    assert parse_volume_ml("1 US fl oz") == pytest.approx(float(231 * INCH_MM**3 / 128_000), rel=1e-15)
    assert parse_volume_ml("1 imp gal") == 4546.09


def test_gold_price_between_the_trade_units() -> None:
    per_ounce = parse_price_per_mass("2650 USD/ozt").amount_per_g
    assert per_ounce == pytest.approx(float(Fraction(2650) / Fraction("31.1034768")), rel=1e-15)
    assert parse_price_per_mass("132.5 USD/dwt").amount_per_g == pytest.approx(per_ounce, rel=1e-14)  # 20 dwt an ozt
