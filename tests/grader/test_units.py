"""Quantities and money as typed: what is accepted, what it comes to, and what is refused with advice."""

from __future__ import annotations

import contextlib
import math
import pickle
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader.model import Range
from grader.units import (
    Money,
    PricePerMass,
    format_mass,
    format_range,
    format_share,
    parse_area_mm2,
    parse_length_mm,
    parse_mass_g,
    parse_money,
    parse_pair_mm,
    parse_price_per_mass,
    parse_share,
    parse_thickness_um,
    parse_volume_ml,
    range_ends,
    round_to,
)
from grader.units.quantities import KIND_WORDS, vocabulary

PARSERS = {
    "length": parse_length_mm,
    "area": parse_area_mm2,
    "mass": parse_mass_g,
    "volume": parse_volume_ml,
}


@pytest.mark.parametrize(
    "text",
    ["30 uin", "30uin", "30 µin", "30 μin", "30 microinch", "30 microinches", "30 micro-inches", '30 µ"', "30 U-IN",
     "+30 uin", " 30  uin ", "0.762 um", "0.762 µm", "0,762 μm", "762 nm", ".762 micron", "762e-3 um", "0.03 mil"],
)  # fmt: skip
def test_thirty_microinches_however_typed(text: str) -> None:
    assert parse_thickness_um(text) == pytest.approx(0.762, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1.57 mm", 1.57),
        ("62 mil", 1.5748),
        ("62 thou", 1.5748),
        ("1/16 in", 1.5875),
        ('5 1/4"', 133.35),
        ("5¼ in", 133.35),
        ("5-1/4 in.", 133.35),
        ("5,25 inches", 133.35),
        ("3 ft 2 in", 965.2),
        ("3′ 2″", 965.2),
        ("1 m 20 cm", 1200.0),
        ("1 930,5 mm", 1930.5),
        ("1,930.5 mm", 1930.5),
        ("1.930,5 mm", 1930.5),
        ("1,234,567 mm", 1234567.0),
        ("1.234 mm", 1.234),
        ("0,125 in", 3.175),
    ],
)
def test_lengths(text: str, mm: float) -> None:
    assert parse_length_mm(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "pair"),
    [
        ("133.35 x 31.25 mm", (133.35, 31.25)),
        ("133.35x31.25mm", (133.35, 31.25)),
        ("133.35 mm × 3.125 cm", (133.35, 31.25)),
        ("5.25 by 1.25 in", (133.35, 31.75)),
        ("5 1/4 X 1 1/4 in", (133.35, 31.75)),
        ("85,60 * 53,98 mm", (85.6, 53.98)),
    ],
)
def test_pairs(text: str, pair: tuple[float, float]) -> None:
    assert parse_pair_mm(text) == pytest.approx(pair, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "code"),
    [("133.35 mm", "pair-unreadable"), ("1 x 2 x 3 mm", "pair-unreadable"), ("10 x 20", "unit-missing"),
     ("10 kg x 20 mm", "unit-wrong-kind"), ("0 x 20 mm", "value-zero")],
)  # fmt: skip
def test_pairs_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_pair_mm(text)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "grams"),
    [("450g", 450.0), ("1 kg 200 g", 1200.0), ("1 200 g", 1200.0), ("5 MG", 0.005), ("1/2 lb", 226.796185),
     ("2 tonnes", 2e6), ("5 ct.", None), ("3 oz 2 lb", None), ("1 lb -2 oz", None), ("1 lb 2", None)],
)  # fmt: skip
def test_masses(text: str, grams: float | None) -> None:
    if grams is None:
        with pytest.raises(UnitError):
            parse_mass_g(text)
    else:
        assert parse_mass_g(text) == pytest.approx(grams, rel=1e-15)


def test_an_ounce_of_gold_must_say_which() -> None:
    assert parse_mass_g("2 oz") == parse_mass_g("2 oz avdp") != parse_mass_g("2 ozt")
    for text, precious in (("2 oz", True), ("2 ounces", True), ("1 oz 3 dwt", True), ("1 oz 3 dwt", False)):
        with pytest.raises(UnitError) as caught:
            parse_mass_g(text, precious=precious)
        assert caught.value.code == "ounce-ambiguous"
        assert "ozt" in caught.value.advice
    # Beside pounds the ounce can only be the avoirdupois one.
    assert parse_mass_g("1 lb 2 oz", precious=True) == parse_mass_g("1 lb 2 oz")


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("30 mic", "unit-ambiguous", ("mic", "um", "uin")),
        ("30 u", "unit-ambiguous", ("um", "uin")),
        ("30", "unit-missing", ("30 uin", "0.76 um")),
        ("1/2", "unit-missing", ("30 uin",)),
        ("5 kg", "unit-wrong-kind", ("a mass", "a length")),
        ("5 s", "unit-wrong-kind", ("a time", "a length")),
        ("5 V", "unit-wrong-kind", ("another kind of quantity",)),
        ("5 mm²", "unit-wrong-kind", ("an area", "a length")),
        ("30 uinn", "unit-unknown", ("uinn", "uin")),
        ("30 furlgons", "unit-unknown", ("furlgons",)),
        ("30 mil", "thickness-implausible", ("762 um", "30 uin")),
        ("0 um", "value-zero", ("zero",)),
        ("-0.0 um", "value-zero", ("zero",)),
        ("-3 um", "value-negative", ("negative",)),
        ("−3 um", "value-negative", ("negative",)),
        ("nan um", "value-not-finite", ("finite",)),
        ("inf um", "value-not-finite", ("finite",)),
        ("-Infinity um", "value-not-finite", ("finite",)),
        ("∞ um", "value-not-finite", ("finite",)),
        ("1e999 um", "value-not-finite", ("too large",)),
        ("1,234 um", "number-ambiguous", ("1234", "1.234")),
        ("1,2,3 um", "number-unreadable", ("1,2,3",)),
        ("1.2.3 um", "number-unreadable", ("1.2.3",)),
        ("1/0 um", "number-unreadable", ("1/0",)),
        ("", "quantity-empty", ("30 uin",)),
        ("   ", "quantity-empty", ("30 uin",)),
        ("um", "quantity-unreadable", ("um",)),
        ("um 3", "quantity-unreadable", ("um 3",)),
        ("0.76 ± 0.1 um", "quantity-unreadable", ("30 uin",)),
        ("10² um", "quantity-unreadable", ("30 uin",)),
        ("3 um; rm", "unit-unknown", ("30 uin",)),
        ("1" * 300 + " um", "quantity-unreadable", ("too long",)),
    ],
)
def test_refusals_say_what_is_wrong_and_what_to_write(text: str, code: str, words: tuple[str, ...]) -> None:
    with pytest.raises(UnitError) as caught:
        parse_thickness_um(text)
    error = caught.value
    assert error.code == code
    assert error.message.endswith(".")
    assert error.advice.endswith(".")
    assert all(word in str(error) for word in words), str(error)
    copy = pickle.loads(pickle.dumps(error))
    assert (type(copy), copy.code, str(copy)) == (UnitError, code, str(error))


@pytest.mark.parametrize("word", ["gal", "quart", "pt", "fl oz", "cup"])
def test_measures_of_two_countries_must_say_which(word: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_volume_ml(f"1 {word}")
    assert caught.value.code == "unit-ambiguous"


@pytest.mark.parametrize("word", ["gr", "ton", "troy pound", "ct"])
def test_ambiguous_masses_are_refused(word: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_mass_g(f"1 {word}")
    assert caught.value.code == "unit-ambiguous"


def test_units_of_pint_outside_the_vocabulary_are_refused() -> None:
    with pytest.raises(UnitError):
        parse_mass_g("2 bags")  # pint knows a bag of 94 lb
    with pytest.raises(UnitError):
        parse_mass_g("2 slugs")


def test_every_word_of_the_vocabulary_is_read_by_its_own_parser_alone() -> None:
    units = vocabulary().units
    assert len(units) > 100
    for word, (kind, _) in units.items():
        for other, parse in PARSERS.items():
            if other == kind:
                assert parse(f"1 {word}") > 0
            else:
                with pytest.raises(UnitError) as caught:
                    parse(f"1 {word}")
                assert caught.value.code == "unit-wrong-kind", (word, other)
                assert KIND_WORDS[kind] in caught.value.message


def test_no_word_is_both_clear_and_ambiguous() -> None:
    assert not set(vocabulary().units) & set(vocabulary().ambiguous)


@settings(deadline=None)
@given(st.decimals(min_value=Decimal("0.000001"), max_value=Decimal(10**6), places=6))
def test_a_plain_decimal_is_read_exactly(value: Decimal) -> None:
    assert parse_length_mm(f"{value} mm") == float(value)
    assert parse_length_mm(f"{value} in") == float(Fraction(value) * Fraction("25.4"))
    whole, _, part = f"{value:f}".partition(".")
    assert parse_length_mm(f"{whole},{part} mm") == float(value)  # six places cannot be thousands


@settings(deadline=None)
@given(st.integers(1, 10**9))
def test_grouped_thousands_are_read_where_they_are_clear(value: int) -> None:
    for grouped in (f"{value:,}.5", f"{value:,}.5".replace(",", " "), f"{value:,}.50".replace(",", "\u202f")):
        assert parse_length_mm(f"{grouped} mm") == value + 0.5


# Random text seldom looks like a quantity, so most of it is built from what quantities are made of.
_SCRAPS = st.sampled_from(
    [
        *"0123456789.,-+/ \"'%$€x*^²½µ()eE",
        " ",
        "..",
        "per",
        "/",
        "nan",
        "mm",
        "uin",
        "kg",
        "lb",
        "oz",
        "dwt",
        "USD",
        "gal",
    ]
)
_TEXTS = st.one_of(st.text(max_size=30), st.lists(_SCRAPS, max_size=12).map("".join))


@settings(deadline=None)
@given(_TEXTS)
def test_any_text_is_read_or_refused_never_crashes(text: str) -> None:
    for parse in (
        *PARSERS.values(),
        parse_thickness_um,
        parse_share,
        parse_pair_mm,
        parse_money,
        parse_price_per_mass,
    ):
        result = None
        with contextlib.suppress(UnitError):
            result = parse(text)
        if isinstance(result, Money):
            assert result.amount.is_finite()
            assert result.amount >= 0
        elif isinstance(result, PricePerMass):
            assert 0 < result.amount_per_g < math.inf
        elif result is not None:
            values = result if isinstance(result, tuple) else (result,)
            assert all(0 < v < math.inf or (parse is parse_share and v == 0) for v in values)


def test_shares() -> None:
    assert parse_share("93 %") == parse_share("93%") == parse_share("93,0 percent") == 0.93
    assert (parse_share("0 %"), parse_share("100 %")) == (0.0, 1.0)
    for text, code in (
        ("93", "unit-missing"), ("0.93", "unit-missing"), ("250 %", "share-out-of-range"),
        ("-3 %", "share-out-of-range"), ("30 mic", "quantity-unreadable"), ("nan %", "value-not-finite"),
    ):  # fmt: skip
        with pytest.raises(UnitError) as caught:
            parse_share(text)
        assert caught.value.code == code


def test_ranges_are_split_and_share_their_unit() -> None:
    assert range_ends("93 %") == ("93 %",)
    assert range_ends("85..98 %") == ("85 %", "98 %")
    assert range_ends("8 .. 10.5 .. 15 USD") == ("8 USD", "10.5 USD", "15 USD")
    assert range_ends("85 %…98 %") == ("85 %", "98 %")


# --- back to text


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [(5.1234, 2.9, "5.1"), (425.68, 15.8, "426"), (12345.6, 780.0, "12350"), (0.012345, 0.00061, "0.01234"),
     (5.0, 0.0, "5.00"), (0.0, 0.0, "0"), (-3.456, 1.0, "−3.5"), (99.96, 10.0, "100")],
)  # fmt: skip
def test_rounding_to_two_digits_of_the_uncertainty(value: float, uncertainty: float, text: str) -> None:
    assert round_to(value, uncertainty) == text


@settings(deadline=None)
@given(st.floats(-1e9, 1e9), st.floats(1e-6, 1e9))
def test_rounding_moves_a_value_by_less_than_a_tenth_of_its_uncertainty(value: float, uncertainty: float) -> None:
    rounded = float(round_to(value, uncertainty).replace("−", "-"))
    assert abs(rounded - value) <= uncertainty / 20 * (1 + 1e-9) + abs(value) * 1e-15


def test_masses_are_shown_in_the_unit_that_reads_best() -> None:
    assert format_mass(5.123, 2.9) == "5.1 mg"
    assert format_mass(1234.0, 100.0) == "1.23 g"
    assert format_mass(2.5e6) == "2.50 kg"
    assert format_range(Range(5.1, 2.2, 8.0), "mg") == "5.1 mg (2.2 to 8.0 mg, 90 % sure)"
    assert format_range(Range(1991.0, 1027.0, 3823.0), "mg") == "2.0 g (1.0 to 3.8 g, 90 % sure)"
    assert format_range(Range(3.0, 3.0, 3.0), "USD") == "3.00 USD"


def test_shares_are_never_shown_as_a_false_none_or_all() -> None:
    assert [format_share(x) for x in (0.0, 1e-5, 0.005, 0.12, 0.995, 0.99999, 1.0)] == [
        "0 %", "under 0.1 %", "0.5 %", "12 %", "99.5 %", "over 99.9 %", "100 %",
    ]  # fmt: skip
