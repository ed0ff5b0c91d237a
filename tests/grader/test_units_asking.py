"""Asking prices as sellers write them: for the lot, by weight, by the board."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader.units import AskingPrice, Money, in_currency, parse_asking_price


@pytest.mark.parametrize(
    ("text", "amount", "per"),
    [
        ("120 USD", "120", "lot"),
        ("120 USD for the lot", "120", "lot"),
        ("US$120 per lot", "120", "lot"),
        ("120 USD for all", "120", "lot"),
        ("15 USD/kg", "15", "kg"),
        ("US$ 15.50 per kilo", "15.50", "kg"),
        ("15 USD a kilo", "15", "kg"),
        ("150 USD per 10 kg", "15", "kg"),
        ("8,000.00 USD/t", "8", "kg"),
        ("5 USD/lb", "5", "lb"),
        ("40 USD / lbs", "40", "lb"),
        ("USD 5 per pound", "5", "lb"),
        ("3.50 USD per board", "3.50", "board"),
        ("3,50 USD per board", "3.50", "board"),
        ("3.50 USD each", "3.50", "board"),
        ("3.50 USD ea.", "3.50", "board"),
        ("3.50 USD a module", "3.50", "board"),
        ("350 USD per 100 boards", "3.50", "board"),
        ("0 USD/kg", "0", "kg"),
    ],
)
def test_asking_prices(text: str, amount: str, per: str) -> None:
    assert parse_asking_price(text) == AskingPrice(Money(Decimal(amount), "USD"), per)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("15/kg", "currency-missing"),
        ("5 USD/oz", "asking-per-what"),
        ("85 USD/g", "asking-per-what"),
        ("5 USD per week", "asking-per-what"),
        ("5 USD per cm2", "asking-per-what"),
        ("5 USD/ton", "unit-ambiguous"),
        ("1.250 USD/kg", "number-ambiguous"),
        ("1,250 USD", "number-ambiguous"),
        ("15 USD/0 kg", "asking-per-what"),
        ("15 USD/", "currency-unknown"),
        ("-3 USD each", "money-negative"),
        ("3 USD each per kg", "currency-unknown"),
        ("", "quantity-empty"),
    ],
)
def test_asking_prices_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_asking_price(text)
    assert caught.value.code == code


def test_without_a_currency_the_chosen_one_is_meant() -> None:
    assert parse_asking_price(in_currency("40/lb", "GBP")) == AskingPrice(Money(Decimal(40), "GBP"), "lb")
    assert parse_asking_price(in_currency("3.50 per board", "EUR")) == AskingPrice(
        Money(Decimal("3.50"), "EUR"), "board"
    )


@given(
    st.decimals(0, 10**9, places=2, allow_nan=False), st.sampled_from(["USD", "EUR", "KWD", "JPY"]),
    st.sampled_from(["lot", "kg", "lb", "board"]),
)  # fmt: skip
def test_what_is_written_is_read_back(amount: Decimal, currency: str, per: str) -> None:
    price = AskingPrice(Money(amount, currency), per)  # type: ignore[arg-type]
    assert parse_asking_price(str(price)) == price
