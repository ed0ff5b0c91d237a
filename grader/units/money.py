"""Money and gold prices as typed. A currency is taken as written; nothing is ever converted or guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import ROUND_FLOOR, Decimal
from functools import cache

from calibration.errors import UnitError
from calibration.packaged import packaged_toml
from grader.units.numbers import NUMBER, number, plain
from grader.units.quantities import gram_per_unit

_MONEY_EXAMPLES = "an amount such as '120 USD' or '85.50 EUR'"
# A mark and three digits: thousands to half the world, and decimals to the other.
_EITHER = re.compile(r"[+-]?\s*([1-9]\d{0,2})[.,](\d{3})")
# Groups that nothing else can mean: parted by apostrophes, or the Indian way, pairs before the last three.
_APOSTROPHES = re.compile(r"(?<![\d.,'])\d{1,3}(?:'\d{3})+(?![\d'])")
_PAIRS = re.compile(r"(?<![\d.,])\d{1,2}(?:,\d{2})+,\d{3}(?![\d,])")
_GROUPED = rf"(?:\d{{1,3}}(?:['’]\d{{3}})+(?:[.,]\d+)?|{NUMBER})"
_PRICE_EXAMPLES = "a gold price such as '2650 USD/ozt', '85.2 EUR/g' or '62 GBP/dwt'"


@dataclass(frozen=True)
class Money:
    """An amount of one currency.

    Attributes:
        amount: exact, as typed.
        currency: three-letter code.
    """

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        written = f"{self.amount:f}"
        # "1.234 USD" is asked about when it is read, "1.2340 USD" is not
        return f"{written}{'0' if _EITHER.fullmatch(written) else ''} {self.currency}"


@dataclass(frozen=True)
class PricePerMass:
    """A price of gold.

    Attributes:
        amount_per_g: money per gram.
        currency: three-letter code.
        ounce_taken_as_troy: it was typed per plain ounce. Gold is quoted per troy ounce.
    """

    amount_per_g: float
    currency: str
    ounce_taken_as_troy: bool = field(default=False, compare=False)

    @property
    def amount_per_troy_ounce(self) -> float:
        """Money per troy ounce."""
        return self.amount_per_g * gram_per_unit("ozt", _PRICE_EXAMPLES)


@dataclass(frozen=True)
class _Currencies:
    codes: frozenset[str]
    signs: Mapping[str, str]
    shared: Mapping[str, str]
    used_by: Mapping[str, frozenset[str]]


@cache
def _currencies() -> _Currencies:
    data = packaged_toml("grader.units", "data/currencies.toml")
    return _Currencies(
        frozenset(data["codes"].split()),
        {sign.lower(): code for sign, code in data["signs"].items()},
        {sign.lower(): advice for sign, advice in data["shared_signs"].items()},
        {sign.lower(): frozenset(codes.split()) for sign, codes in data["used_by"].items()},
    )


def currency_codes() -> tuple[str, ...]:
    """Codes of all currencies known here, in order."""
    return tuple(sorted(_currencies().codes))


def currency_signs() -> dict[str, str]:
    """Signs of currencies, each with its code; a sign that several currencies share stands for itself."""
    known = _currencies()
    return {**{sign: sign for sign in known.shared}, **known.signs}


def currencies_in(text: str) -> tuple[str, ...]:
    """Codes of the currencies that a text names beside its numbers, in order: by code, or by a sign of one alone."""
    known = _currencies()
    words = re.findall(rf"(?:(?<![^\W_])([^\W\d_]{{3}})\s*(?={NUMBER})|(?<=[\d.])\s*([^\W\d_]{{3}})(?![^\W_]))", text)
    found = [word.upper() for pair in words for word in pair if word.upper() in known.codes]
    return (*found, *(code for sign, code in known.signs.items() if sign in text.lower()))


def in_currency(text: str, currency: str) -> str:
    """An amount without a currency in the one that a person has chosen; any other text as it is.

    A sign that several currencies share, such as "$", means the chosen one where that uses it.

    Args:
        text: such as "120", "2650/ozt", "$15" or "15 per h".
        currency: its code; empty if none was chosen.
    """
    if not currency:
        return text
    bare = re.sub(r"\s+", " ", text)
    for sign, codes in _currencies().used_by.items():
        if currency in codes:
            bare = re.sub(rf"(?<![^\W\d_]){re.escape(sign)}\.?(?![^\W\d_])", " ", bare, flags=re.IGNORECASE)
    number_or_range = rf"{_GROUPED}(?:\s*\.\.\s*{_GROUPED})*"
    found = re.fullmatch(rf"\s*({number_or_range})\s*((?:/|per\b|an?\b|each\b|ea\b|for\b).*)?", bare, re.IGNORECASE)
    if found is None:
        return text
    per = found[2] or ""
    return f"{found[1]} {currency}{per if not per or per.startswith('/') else f' {per}'}"


def shares_sign(currency: str, sign: str) -> bool:
    """Whether a currency uses a sign that others use too."""
    return currency in _currencies().used_by.get(sign, frozenset())


def parse_money(text: str) -> Money:
    """An amount of money from "120 USD", "USD 120", "€85,50", "US$120". Zero is allowed.

    A bare "$" is refused: many currencies use it, and a wrong guess would be a silent error of tens of per cent.

    Raises:
        UnitError: ``currency-missing``, ``currency-ambiguous``, ``currency-unknown``, ``money-negative``,
            ``number-ambiguous`` for "1.500 EUR" as for "1,500 EUR", ``quantity-unreadable``, or as for any number.
    """
    folded = plain(text, "an amount of money", _MONEY_EXAMPLES)
    amount, currency = _amount_and_currency(folded, text, _MONEY_EXAMPLES)
    if amount < 0:
        raise UnitError("money-negative", f"'{text.strip()}' is negative.", f"Write {_MONEY_EXAMPLES}, zero or more.")
    return Money(amount, currency)


def parse_price_per_mass(text: str) -> PricePerMass:
    """A gold price from "2650 USD/ozt", "85.2 EUR/g", "62 GBP per dwt".

    A plain ounce is the troy ounce here, for gold is quoted in nothing else; the price says that it was taken so.

    Raises:
        UnitError: as for money; ``price-per-what`` without a unit of mass; ``price-not-positive`` for zero or less.
    """
    folded = plain(text, "a gold price", _PRICE_EXAMPLES)
    money, unit = split_per(folded)
    amount, currency = _amount_and_currency(money, text, _PRICE_EXAMPLES)
    if not unit:
        raise UnitError(
            "price-per-what",
            f"'{text.strip()}' does not say per what mass of gold.",
            f"Write {money}/ozt if it is per troy ounce, or {money}/g if it is per gram.",
        )
    if amount <= 0:
        raise UnitError(
            "price-not-positive", f"A gold price of '{text.strip()}' is not above zero.", f"Write {_PRICE_EXAMPLES}."
        )
    per, word = split_count(unit, _PRICE_EXAMPLES)
    if per <= 0:
        raise UnitError(
            "price-per-what", f"'{text.strip()}' is not a price per mass of gold.", f"Write {_PRICE_EXAMPLES}."
        )
    plain_ounce = re.fullmatch(r"(?:oz|ounces?)\.?", word.strip(), re.IGNORECASE) is not None
    grams = gram_per_unit("ozt" if plain_ounce else word, _PRICE_EXAMPLES)
    return PricePerMass(float(amount / per) / grams, currency, ounce_taken_as_troy=plain_ounce)


def split_per(folded: str) -> tuple[str, str]:
    """Text before and after "/" or "per", the second empty if there is none; no fraction is parted."""
    match = re.search(
        r"(?:(?<![\d\s])\s*/\s*(?=[\d.,]*\s*[^\W\d])|\s*/\s*(?=[^\W\d])|\s*\bper\b\s*)", folded, re.IGNORECASE
    )
    if match is None:
        return folded.strip(), ""
    return folded[: match.start()].strip(), folded[match.end() :].strip()


def split_count(unit: str, examples: str) -> tuple[Decimal, str]:
    """The count and the word of what a price is per: "10 g", a way to quote in some countries, or "g" for one."""
    counted = re.fullmatch(rf"({NUMBER})\s*(\D.*)", unit)
    return (number(counted.group(1), examples), counted.group(2)) if counted else (Decimal(1), unit)


def _amount_and_currency(folded: str, text: str, examples: str) -> tuple[Decimal, str]:
    folded = _PAIRS.sub(_ungrouped, _APOSTROPHES.sub(_ungrouped, folded))
    number_inside = re.fullmatch(rf"(?P<before>-?[^\d.,+-]*)(?P<number>{NUMBER})(?P<after>\D*)", folded)
    if number_inside is None:
        raise UnitError("quantity-unreadable", f"'{text.strip()}' is not an amount of money.", f"Write {examples}.")
    before, after = number_inside["before"].strip(), number_inside["after"].strip()
    digits = number_inside["number"]
    if before.startswith("-"):
        before, digits = before[1:].strip(), f"-{digits}"
    if after.upper() in _currencies().codes and before.lower() in _currencies().shared:
        before = ""  # "$120 USD": the code says what the sign leaves open
    sign = f"{before} {after}".strip()
    if not sign:
        raise UnitError("currency-missing", f"'{text.strip()}' does not say which currency.", f"Write {examples}.")
    currency = _currency(sign, examples)
    if either := _EITHER.fullmatch(digits.strip()):
        whole, part = either.groups()
        raise UnitError(
            "number-ambiguous",
            f"'{text.strip()}' can be read as {whole}{part} or as {whole}.{part} {currency}.",
            f"Write {whole}{part} {currency} or {whole}.{part}0 {currency}.",
        )
    return number(digits, examples), currency


def _ungrouped(groups: re.Match[str]) -> str:
    return re.sub(r"\D", "", groups[0])


def _currency(sign: str, examples: str) -> str:
    known = _currencies()
    key = sign.lower().replace(" $", "$")
    if sign.upper() in known.codes:
        return sign.upper()
    if key in known.signs:
        return known.signs[key]
    if key in known.shared:
        advice = known.shared[key]
        raise UnitError(
            "currency-ambiguous", f"'{sign}' is the sign of several currencies.", f"{advice[:1].upper()}{advice[1:]}."
        )
    raise UnitError("currency-unknown", f"'{sign}' is not a known currency.", f"Write {examples}.")


_COARSEST = Decimal("0.01")  # of an offer: with other random numbers prices differ by up to half of that
_STEPS = (Decimal(5), Decimal(2), Decimal(1))


def money_down(amount: float, currency: str) -> Money:
    """An amount of at least zero rounded down to what is known of it, no finer than a hundredth.

    An offer must not grow by rounding, nor pretend to more digits than the draws give it: it is a multiple of the
    largest of 1, 2, 5, 10, 20… that is no more than a hundredth of it. 154.9 becomes 154, 614.6 becomes 610.
    """
    exact = Decimal(repr(float(amount)))
    most = exact * _COARSEST
    unit = Decimal(1).scaleb(max(most.adjusted(), -2)) if exact else Decimal(1)
    step = next((s * unit for s in _STEPS if s * unit <= most), unit)
    whole = (exact / step).to_integral_value(ROUND_FLOOR) * step
    return Money(whole.quantize(min(unit, Decimal(1))) + 0, currency)
