"""Money in every style that people write: read to the same amount or asked about, never to another."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal
from typing import Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.errors import UnitError
from grader.units import (
    AskingPrice,
    Money,
    PricePerMass,
    in_currency,
    parse_asking_price,
    parse_fineness,
    parse_money,
    parse_price_per_mass,
)

AMOUNTS = st.decimals(0, 10**9, places=2, allow_nan=False) | st.decimals(0, 10**9, places=0, allow_nan=False)
CODES = st.sampled_from(["USD", "EUR", "GBP", "INR", "KWD", "JPY", "CHF"])


def grouped(digits: str, mark: str) -> str:
    """Digits in threes from the right."""
    return "" if not digits else f"{int(digits):,}".replace(",", mark)


def pairs(digits: str) -> str:
    """The Indian way: the last three, then twos."""
    head, tail = digits[:-3], digits[-3:]
    parts = []
    while head:
        parts.insert(0, head[-2:])
        head = head[:-2]
    return ",".join([*parts, tail])


# name → whole digits, decimals → text
STYLES = {
    "plain": lambda w, d: w + (f".{d}" if d else ""),
    "plain, decimal comma": lambda w, d: w + (f",{d}" if d else ""),
    "English": lambda w, d: grouped(w, ",") + (f".{d}" if d else ""),
    "German": lambda w, d: grouped(w, ".") + (f",{d}" if d else ""),
    "French": lambda w, d: grouped(w, "\N{NARROW NO-BREAK SPACE}") + (f",{d}" if d else ""),
    "spaces": lambda w, d: grouped(w, " ") + (f".{d}" if d else ""),
    "Swiss": lambda w, d: grouped(w, "’") + (f".{d}" if d else ""),
    "apostrophe": lambda w, d: grouped(w, "'") + (f",{d}" if d else ""),
    "Indian": lambda w, d: pairs(w) + (f".{d}" if d else ""),
}


def written(amount: Decimal, style: str) -> str:
    whole, _, decimals = f"{amount:f}".partition(".")
    return STYLES[style](whole, decimals)


ASKED = "number-ambiguous"
PER: list[Literal["kg", "lb", "board"]] = ["kg", "lb", "board"]


def outcome(read: Callable[[str], object], text: str) -> object:
    """What a text is read as, or the code with which it is refused."""
    try:
        return read(text)
    except UnitError as error:
        return error.code


def leaves_a_choice(text: str) -> bool:
    """One dot or comma, before three digits and behind one to three, could be either mark."""
    return re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", text) is not None


@settings(deadline=None, max_examples=300)
@given(AMOUNTS, CODES, st.sampled_from(sorted(STYLES)), st.booleans())
def test_an_amount_in_any_style_is_that_amount_or_is_asked_about(
    amount: Decimal, code: str, style: str, first: bool
) -> None:
    text = written(amount, style)
    read = outcome(parse_money, f"{code} {text}" if first else f"{text} {code}")
    assert read == (ASKED if leaves_a_choice(text) else Money(amount, code))


@settings(deadline=None, max_examples=200)
@given(AMOUNTS, CODES, st.sampled_from(sorted(STYLES)), st.sampled_from(PER))
def test_an_asking_price_in_any_style_likewise(
    amount: Decimal, code: str, style: str, per: Literal["kg", "lb", "board"]
) -> None:
    text = written(amount, style)
    read = outcome(parse_asking_price, f"{text} {code}/{per}")
    assert read == (ASKED if leaves_a_choice(text) else AskingPrice(Money(amount, code), per))


@settings(deadline=None, max_examples=200)
@given(AMOUNTS.filter(bool), st.sampled_from(sorted(STYLES)), st.sampled_from(["g", "ozt", "oz", "kg"]))
def test_a_gold_price_in_any_style_likewise(amount: Decimal, style: str, unit: str) -> None:
    grams = {"g": 1.0, "ozt": 31.1034768, "oz": 31.1034768, "kg": 1000.0}[unit]
    text = written(amount, style)
    read = outcome(parse_price_per_mass, f"{text} EUR/{unit}")
    assert (read == ASKED) is leaves_a_choice(text)
    if isinstance(read, PricePerMass):
        assert read.amount_per_g == pytest.approx(float(amount) / grams, rel=1e-12)


@settings(deadline=None)
@given(st.decimals(0, 10**9, places=4, allow_nan=False) | AMOUNTS, st.integers(0, 4), CODES)
def test_what_is_written_is_read_back(amount: Decimal, places: int, code: str) -> None:
    money = Money(round(amount, places), code)
    assert parse_money(str(money)) == money


@settings(deadline=None, max_examples=200)
@given(AMOUNTS, st.sampled_from(sorted(STYLES)), st.sampled_from(["$", "$ ", ""]), st.sampled_from(["USD", "CAD"]))
def test_a_sign_that_currencies_share_means_the_chosen_one(amount: Decimal, style: str, sign: str, code: str) -> None:
    text = written(amount, style)
    read = outcome(parse_money, in_currency(f"{sign}{text}", code))
    assert read == (ASKED if leaves_a_choice(text) else Money(amount, code))


@pytest.mark.parametrize(
    ("text", "currency", "meant"),
    [
        ("$2650/oz", "USD", "2650 USD/oz"),
        ("$ 40..$90/kg", "USD", "40.. 90 USD/kg"),
        ("5 kr", "SEK", "5 SEK"),
        ("¥500", "JPY", "500 JPY"),
        ("Rs. 500", "INR", "500 INR"),
        ("3.50 each", "GBP", "3.50 GBP each"),
        ("1’234.50", "CHF", "1’234.50 CHF"),
        ("$5", "EUR", "$5"),
        ("kr 5", "USD", "kr 5"),
        ("krypton 5", "SEK", "krypton 5"),
    ],
)
def test_bare_amounts_and_shared_signs(text: str, currency: str, meant: str) -> None:
    assert in_currency(text, currency) == meant


def test_a_plain_ounce_of_gold_is_troy_and_the_price_says_so() -> None:
    price = parse_price_per_mass(in_currency("$2650/oz", "USD"))
    assert price == parse_price_per_mass("2650 USD/ozt")
    assert price.ounce_taken_as_troy
    assert not parse_price_per_mass("2650 USD/ozt").ounce_taken_as_troy
    assert not parse_price_per_mass("2650 USD/oz avdp").ounce_taken_as_troy


@pytest.mark.parametrize(
    ("read", "text", "code", "question"),
    [
        (parse_money, "1.234 EUR", "number-ambiguous", "Write 1234 EUR or 1.2340 EUR."),
        (parse_money, "1,234 EUR", "number-ambiguous", "Write 1234 EUR or 1.2340 EUR."),
        (parse_money, "2650", "currency-missing", "USD"),
        (parse_price_per_mass, "2650 USD", "price-per-what", "Write 2650 USD/ozt if it is per troy ounce"),
        (parse_price_per_mass, "2.650 USD/ozt", "number-ambiguous", "Write 2650 USD"),
    ],
)
def test_what_is_not_clear_is_asked(read: object, text: str, code: str, question: str) -> None:
    assert callable(read)
    with pytest.raises(UnitError) as caught:
        read(text)
    assert caught.value.code == code
    assert question in caught.value.advice


@pytest.mark.parametrize(
    ("text", "share"),
    [("22 kt", 22 / 24), ("18ct", 0.75), ("14k", 14 / 24), ("9 karat", 0.375), ("24 carat", 1.0), ("21.6 K", 0.9)],
)
def test_fineness_in_carats(text: str, share: float) -> None:
    assert parse_fineness(text) == pytest.approx(share, rel=1e-15)


@pytest.mark.parametrize("text", ["25 kt", "0 k", "22", "kt", "-22 kt", "220 kt"])
def test_carats_that_there_are_not_are_refused(text: str) -> None:
    with pytest.raises(UnitError):
        parse_fineness(text)
