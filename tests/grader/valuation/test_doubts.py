"""Gold prices that can hardly be meant are asked back, with the likely meaning; real ones never are."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grader.units import PricePerMass, currency_codes, parse_price_per_mass
from grader.valuation import load_assumptions, with_given
from grader.valuation.doubts import _bands, dollars_at_most, gold_band_per_g, price_doubt, price_doubts

BANDS = [c for c in currency_codes() if gold_band_per_g(c) is not None]


@pytest.mark.parametrize(
    ("typed", "suggested"),
    [
        ("85 USD/ozt", "85 USD/g"),
        ("2650 USD/g", "2650 USD/ozt"),
        ("2.6500 USD/ozt", "2650 USD/ozt"),
        ("4.1000 EUR/ozt", "4100 EUR/ozt"),
        ("85 EUR/kg", "85 EUR/g"),
        ("85200 EUR/g", "85.2 EUR/g"),
        ("2100 GBP/g", "2100 GBP/ozt"),
        ("400000 JPY/g", "400000 JPY/ozt"),
        ("15.5000 JPY/g", "15500 JPY/g"),
        ("700 CNY/ozt", "700 CNY/g"),
        ("1325 USD/dwt", "1325 USD/ozt"),
    ],
)
def test_mixed_up_prices_are_asked_back_with_what_was_meant(typed: str, suggested: str) -> None:
    doubt = price_doubt(parse_price_per_mass(typed))
    assert doubt is not None
    assert doubt.code == "gold-price-doubtful"
    assert doubt.suggested == suggested
    assert doubt.advice == f"Did you mean {suggested}?"
    assert price_doubt(parse_price_per_mass(suggested)) is None


@pytest.mark.parametrize("typed", ["1e12 USD/g", "1e-9 USD/g", "5e12 EUR/kg"])
def test_where_no_mix_up_explains_a_price_nothing_is_suggested(typed: str) -> None:
    doubt = price_doubt(parse_price_per_mass(typed))
    assert doubt is not None
    assert doubt.suggested is None
    assert "Check" in doubt.advice


@pytest.mark.parametrize(
    "typed",
    # fixings and quotes of 2010 to 2025 in round figures; from memory, no source
    ["1100 USD/ozt", "35 USD/g", "2650 USD/ozt", "85 USD/g", "4300 USD/ozt", "140 USD/g", "85200 EUR/kg",
     "62 GBP/dwt",
     "2400 CHF/ozt", "6300 AUD/ozt", "590 CNY/g", "13500 JPY/g", "23000 JPY/g", "7100 INR/g", "125000 INR per 10 g",
     "300 PLN/g", "330 AED/g", "900 SEK/g", "116000 KRW/g", "2650 TRY/g", "2.650,50 USD/ozt"],
)  # fmt: skip
def test_real_prices_are_never_asked_back(typed: str) -> None:
    assert price_doubt(parse_price_per_mass(typed)) is None


@given(st.sampled_from(BANDS), st.floats(0.0, 1.0), st.sampled_from(["g", "ozt"]))
def test_a_suggestion_is_itself_no_doubt_and_of_the_same_digits(currency: str, place: float, unit: str) -> None:
    """Whatever price of the band is typed with the other unit: what is suggested lies in the band."""
    low, high = gold_band_per_g(currency) or (1.0, 1.0)
    true = round(low * (high / low) ** place, 3)
    per_ounce = PricePerMass(true, currency).amount_per_troy_ounce
    wrong = PricePerMass(true / per_ounce * true if unit == "ozt" else per_ounce, currency)
    doubt = price_doubt(wrong)
    if doubt is not None and doubt.suggested is not None:
        assert price_doubt(parse_price_per_mass(doubt.suggested)) is None


def test_bands_say_how_they_are_known_and_hold_each_currency_once() -> None:
    data = _bands()
    for table in (data["gold_in_usd"], *data["rate"]):
        assert table["source"]
        assert table["how_known"] == "from memory"
        assert 0 < table["low"] <= table["high"]
    codes = [code for rate in data["rate"] for code in rate["codes"].split()]
    assert len(codes) == len(set(codes)) > 100
    assert set(codes) <= set(currency_codes())
    assert gold_band_per_g("USD") == (10, 500)
    assert gold_band_per_g("VES") is None
    assert price_doubt(PricePerMass(1e-3, "VES")) is None
    assert dollars_at_most(100.0, "EUR") == pytest.approx(100 / 0.65)
    assert dollars_at_most(100.0, "VES") is None


def test_a_price_of_a_file_is_asked_back_too() -> None:
    figures = with_given(load_assumptions(), spot="85 USD/ozt", spot_date=date(2026, 11, 20))
    (doubt,) = price_doubts(figures)
    assert doubt.suggested == "85 USD/g"
    assert price_doubts(load_assumptions()) == ()
