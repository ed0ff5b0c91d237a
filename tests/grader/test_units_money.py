"""Money and prices of gold as typed: what is accepted, what it comes to, what is refused; and how money is shown."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader.units import (
    Money,
    currency_codes,
    format_mass,
    format_money,
    in_currency,
    money_down,
    parse_money,
    parse_price_per_mass,
)


@pytest.mark.parametrize(
    "text", ["120.5 USD", "USD 120.50", "120,5 usd", "US$120.50", "US $120.5", "$120.50 USD", "120.5 US$"]
)
def test_money_however_typed(text: str) -> None:
    assert parse_money(text) == Money(Decimal("120.5"), "USD")


def test_money_signs_of_one_currency() -> None:
    assert parse_money("€85,50") == Money(Decimal("85.50"), "EUR")
    assert parse_money("£62") == Money(Decimal(62), "GBP")
    assert parse_money("0 CHF") == Money(Decimal(0), "CHF")


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("120", "currency-missing"),
        ("$120", "currency-ambiguous"),
        ("¥500", "currency-ambiguous"),
        ("5 kr", "currency-ambiguous"),
        ("120 XAU", "currency-unknown"),
        ("120 dollars", "currency-unknown"),
        ("12 apples", "currency-unknown"),
        ("-5 USD", "money-negative"),
        ("-US$5", "money-negative"),
        ("€ -5", "money-negative"),
        ("nan USD", "value-not-finite"),
        ("1,234 USD", "number-ambiguous"),
        ("USD", "quantity-unreadable"),
        ("12 USD 5 EUR", "quantity-unreadable"),
        ("", "quantity-empty"),
    ],
)
def test_money_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_money(text)
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("text", "per_gram"),
    [
        ("85.2 EUR/g", 85.2),
        ("85,2 € / g", 85.2),
        ("85200 EUR/kg", 85.2),
        ("852 EUR per 10 g", 85.2),
        ("EUR 2650/ozt", 2650 / 31.1034768),
        ("2650 EUR per troy ounce", 2650 / 31.1034768),
        ("62 EUR/dwt", 62 / 1.55517384),
        ("2650 EUR / 31.1 g", 2650 / 31.1),
        ("85 1/2 EUR/g", 85.5),
        ("80 EUR/oz avdp", 80 / 28.349523125),
    ],
)
def test_gold_prices(text: str, per_gram: float) -> None:
    price = parse_price_per_mass(text)
    assert price.currency == "EUR"
    assert price.amount_per_g == pytest.approx(per_gram, rel=1e-14)
    assert price.amount_per_troy_ounce == pytest.approx(per_gram * 31.1034768, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2.650 USD/ozt", "number-ambiguous"),
        ("85.234 EUR/g", "number-ambiguous"),
        ("2650 USD", "price-per-what"),
        ("2650", "currency-missing"),
        ("2650/ozt", "currency-missing"),
        ("$2650/ozt", "currency-ambiguous"),
        ("0 USD/g", "price-not-positive"),
        ("-5 USD/g", "price-not-positive"),
        ("85 USD/mm", "unit-wrong-kind"),
        ("85 USD/gr", "unit-ambiguous"),
        ("85 USD/0 g", "price-per-what"),
    ],
)
def test_gold_prices_refused(text: str, code: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_price_per_mass(text)
    assert caught.value.code == code


def test_money_is_shown_to_the_hundredth_or_coarser() -> None:
    assert format_money(Decimal("12.345"), "EUR") == "12.34 EUR"
    assert format_money(-0.001, "EUR") == "0.00 EUR"
    assert format_money(1234.56, "EUR", 300.0) == "1230 EUR"


@pytest.mark.parametrize(
    ("amount", "shown"),
    [
        (0.0, "0 USD"), (0.019, "0.01 USD"), (1.239, "1.23 USD"), (9.999, "9.95 USD"), (61.239, "61.0 USD"),
        (154.9, "154 USD"), (399.9, "398 USD"), (614.6, "610 USD"), (1234.5, "1230 USD"), (5678.0, "5650 USD"),
    ],
)  # fmt: skip
def test_an_offer_shows_what_is_known_of_it(amount: float, shown: str) -> None:
    assert str(money_down(amount, "USD")) == shown


@settings(deadline=None)
@given(st.floats(0, 1e9))
def test_an_offer_never_grows_by_rounding(amount: float) -> None:
    down = money_down(amount, "EUR")
    assert 0 <= down.amount <= Decimal(repr(amount))
    assert float(down.amount) >= amount * 0.99 - 0.01
    assert parse_money(str(down)) == down


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("120", "120 USD"),
        (" 85.50 ", "85.50 USD"),
        ("2650/ozt", "2650 USD/ozt"),
        ("15 per h", "15 USD per h"),
        ("5..20..60", "5..20..60 USD"),
        ("40..90/kg", "40..90 USD/kg"),
        ("85 EUR", "85 EUR"),
        ("€85", "€85"),
        ("", ""),
        ("a lot", "a lot"),
    ],
)
def test_an_amount_without_a_currency_is_in_the_chosen_one(text: str, meant: str) -> None:
    assert in_currency(text, "USD") == meant
    assert in_currency(text, "") == text


def test_a_completed_amount_is_read_like_a_typed_one() -> None:
    assert parse_price_per_mass(in_currency("2650/ozt", "USD")) == parse_price_per_mass("2650 USD/ozt")
    assert parse_money(in_currency("85,50", "EUR")) == parse_money("85,50 EUR")
    assert {"USD", "EUR"} < set(currency_codes())


@pytest.mark.parametrize("text", ["1.500 EUR", "€1.500", "1.500 KWD", "USD 12.000", "-1.500 EUR", "120.000 USD"])
def test_a_dot_and_three_digits_is_asked_about(text: str) -> None:
    """Half the world writes 1.500 for one and a half thousand; no money of the other half has three decimals."""
    with pytest.raises(UnitError) as caught:
        parse_money(text)
    assert caught.value.code in ("number-ambiguous", "money-negative")
    if caught.value.code == "number-ambiguous":
        assert "can be read as" in caught.value.message
        for written in caught.value.advice.removeprefix("Write ").removesuffix(".").split(" or "):
            parse_money(written)


@pytest.mark.parametrize(
    ("text", "amount"),
    [("1500 EUR", "1500"), ("1.50 EUR", "1.50"), ("1.500,00 EUR", "1500.00"),
     ("0.125 USD", "0.125"), ("1234.567 USD", "1234.567"), ("1,500.000 USD", "1500.000")],
)  # fmt: skip
def test_where_a_dot_can_mean_only_one_thing_it_does(text: str, amount: str) -> None:
    assert parse_money(text).amount == Decimal(amount)


@given(st.floats(-1e300, 1e300), st.floats(0, 1e300))
def test_any_amount_can_be_written(amount: float, uncertainty: float) -> None:
    assert format_money(amount, "USD", uncertainty).endswith(" USD")
    assert format_money(amount, "USD").partition(" ")[0].partition(".")[2].isdecimal()
    written = float(format_money(amount, "USD").partition(" ")[0].replace("−", "-"))
    assert written == pytest.approx(amount, rel=1e-12, abs=0.005 + 1e-9)
    assert format_mass(abs(amount), uncertainty)


@pytest.mark.parametrize("text", ["1e16 USD", "1e30 USD", "1e-16 USD", "9" * 17 + " USD"])
def test_an_amount_beyond_all_bounds_is_refused(text: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse_money(text)
    assert caught.value.code == "value-not-finite"
