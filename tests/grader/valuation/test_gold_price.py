"""A gold price as typed: what was left out is filled in and said, and nothing typed in full is changed."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader.units import currency_codes, parse_price_per_mass
from grader.valuation.doubts import gold_band_per_g, price_doubt
from grader.valuation.gold_price import gold_price_in_full


@pytest.mark.parametrize(
    ("typed", "currency", "full", "said"),
    [
        ("2650", "USD", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        (" $2650/oz ", "USD", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("$2650", "USD", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("$2650/oz", "EUR", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("2650", "EUR", "2650 EUR/ozt", "read as 2650 EUR per troy ounce"),
        ("2650 USD", "EUR", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("85", "USD", "85 USD/g", "read as 85 USD per gram"),
        ("$2,650", "USD", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("2,650.40", "USD", "2,650.40 USD/ozt", "read as 2,650.40 USD per troy ounce"),
        ("2.650 EUR/ozt", "USD", "2650 EUR/ozt", "read as 2650 EUR per troy ounce"),
        ("26.500 KWD/g", "USD", "26.5000 KWD/g", "read as 26.500 KWD per g"),
        ("2650 per ounce", "USD", "2650 USD/ozt", "read as 2650 USD per troy ounce"),
        ("2650 USD/ozt", "EUR", "2650 USD/ozt", ""),
        ("85.2 EUR/g", "USD", "85.2 EUR/g", ""),
        ("62 GBP per dwt", "USD", "62 GBP per dwt", ""),
        ("", "USD", "", ""),
    ],
)
def test_what_was_left_out_is_filled_in_and_said(typed: str, currency: str, full: str, said: str) -> None:
    found = gold_price_in_full(typed, currency)
    assert (found.text, found.said.replace("per gram", "per g")) == (full, said.replace("per gram", "per g"))
    if full:
        assert price_doubt(parse_price_per_mass(found.text)) is None


@pytest.mark.parametrize("typed", ["lots", "-5", "2650 XAU", "2650 USD/m", "30 mic"])
def test_what_is_no_gold_price_stays_as_typed_and_is_refused(typed: str) -> None:
    found = gold_price_in_full(typed)
    with pytest.raises(UnitError):
        parse_price_per_mass(found.text)


def test_a_dollar_is_asked_about_only_where_another_dollar_was_chosen() -> None:
    with pytest.raises(UnitError) as told:
        gold_price_in_full("$3600/oz", "CAD")
    assert told.value.code == "currency-ambiguous"
    assert "CAD" in told.value.message
    assert "USD" in told.value.message
    assert gold_price_in_full("3600", "CAD").text == "3600 CAD/ozt"
    assert gold_price_in_full("US$2650", "CAD").said


@given(st.floats(400, 20_000), st.sampled_from([c for c in currency_codes() if gold_band_per_g(c) is not None]))
def test_a_price_typed_in_full_means_the_same_after(amount: float, currency: str) -> None:
    typed = f"{amount:.2f} {currency}/ozt"
    found = gold_price_in_full(typed, "USD")
    assert parse_price_per_mass(found.text) == parse_price_per_mass(typed)
    assert not found.said
