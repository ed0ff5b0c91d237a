"""Money and gold prices as typed. A currency is taken as written; nothing is ever converted or guessed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from functools import cache

from calibration.errors import UnitError
from calibration.reading import packaged_toml
from grader.units.numbers import NUMBER, number, plain
from grader.units.quantities import gram_per_unit

_MONEY_EXAMPLES = "an amount such as '120 USD' or '85.50 EUR'"
# A dot and three digits: thousands to half the world. Money has two decimals at most (three in the currencies named).
_DOTTED_THOUSANDS = re.compile(r"[+-]?\s*([1-9]\d{0,2})\.(\d{3})")
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
        return f"{self.amount} {self.currency}"


@dataclass(frozen=True)
class PricePerMass:
    """A price of gold.

    Attributes:
        amount_per_g: money per gram.
        currency: three-letter code.
    """

    amount_per_g: float
    currency: str

    @property
    def amount_per_troy_ounce(self) -> float:
        """Money per troy ounce."""
        return self.amount_per_g * gram_per_unit("ozt", _PRICE_EXAMPLES)


@dataclass(frozen=True)
class _Currencies:
    codes: frozenset[str]
    with_three_decimals: frozenset[str]
    signs: Mapping[str, str]
    shared: Mapping[str, str]


@cache
def _currencies() -> _Currencies:
    data = packaged_toml("grader.units", "data/currencies.toml")
    return _Currencies(
        frozenset(data["codes"].split()),
        frozenset(data["with_three_decimals"].split()),
        {sign.lower(): code for sign, code in data["signs"].items()},
        {sign.lower(): advice for sign, advice in data["shared_signs"].items()},
    )


def currency_codes() -> tuple[str, ...]:
    """Codes of all currencies known here, in order."""
    return tuple(sorted(_currencies().codes))


def in_currency(text: str, currency: str) -> str:
    """An amount without a currency in the one that a person has chosen; any other text as it is.

    Args:
        text: such as "120", "2650/ozt" or "15 per h".
        currency: its code; empty where none was chosen.
    """
    bare = (
        re.fullmatch(rf"\s*({NUMBER}(?:\s*\.\.\s*{NUMBER})*)\s*((?:/|per\b).*)?", text, re.IGNORECASE)
        if currency
        else None
    )
    return text if bare is None else f"{bare.group(1)} {currency}{f' {bare.group(2)}' if bare.group(2) else ''}"


def parse_money(text: str) -> Money:
    """An amount of money from "120 USD", "USD 120", "€85,50", "US$120". Zero is allowed.

    A bare "$" is refused: many currencies use it, and a wrong guess would be a silent error of tens of per cent.

    Raises:
        UnitError: ``currency-missing``, ``currency-ambiguous``, ``currency-unknown``, ``money-negative``,
            ``number-ambiguous`` for "1.500 EUR" as for "1,500 EUR", ``quantity-unreadable``, or as for any number.
    """
    folded = plain(text, "an amount of money", _MONEY_EXAMPLES)
    amount, currency = _amount_and_currency(folded, text, _MONEY_EXAMPLES)
    dotted = re.fullmatch(rf"\D*?{_DOTTED_THOUSANDS.pattern}\D*", folded)
    if dotted and currency not in _currencies().with_three_decimals:
        whole, part = dotted.groups()
        raise UnitError(
            "number-ambiguous",
            f"'{text.strip()}' can be read as {whole}{part} or as {whole}.{part} {currency}.",
            f"Write {whole}{part} {currency} or {whole}.{part[:2]} {currency}.",
        )
    if amount < 0:
        raise UnitError("money-negative", f"'{text.strip()}' is negative.", f"Write {_MONEY_EXAMPLES}, zero or more.")
    return Money(amount, currency)


def parse_price_per_mass(text: str) -> PricePerMass:
    """A gold price from "2650 USD/ozt", "85.2 EUR/g", "62 GBP per dwt".

    Raises:
        UnitError: as for money; ``price-per-what`` without a unit of mass; ``ounce-ambiguous`` for a plain "oz";
            ``price-not-positive`` for zero or less.
    """
    folded = plain(text, "a gold price", _PRICE_EXAMPLES)
    money, unit = split_per(folded)
    amount, currency = _amount_and_currency(money, text, _PRICE_EXAMPLES)
    if not unit:
        raise UnitError(
            "price-per-what", f"'{text.strip()}' does not say per what mass of gold.", f"Write {_PRICE_EXAMPLES}."
        )
    if amount <= 0:
        raise UnitError(
            "price-not-positive", f"A gold price of '{text.strip()}' is not above zero.", f"Write {_PRICE_EXAMPLES}."
        )
    per, word = split_count(unit, _PRICE_EXAMPLES)
    if per <= 0:
        raise UnitError("price-per-what", f"'{text.strip()}' is per no mass of gold.", f"Write {_PRICE_EXAMPLES}.")
    return PricePerMass(float(amount / per) / gram_per_unit(word, _PRICE_EXAMPLES), currency)


def split_per(folded: str) -> tuple[str, str]:
    """Text before and after "/" or "per", the second empty where there is none; no fraction is parted."""
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
    number_inside = re.fullmatch(rf"(?P<before>-?[^\d.,+-]*)(?P<number>{NUMBER})(?P<after>\D*)", folded)
    if number_inside is None:
        raise UnitError("quantity-unreadable", f"'{text.strip()}' is no amount of money.", f"Write {examples}.")
    before, after = number_inside["before"].strip(), number_inside["after"].strip()
    digits = number_inside["number"]
    if before.startswith("-"):
        before, digits = before[1:].strip(), f"-{digits}"
    if after.upper() in _currencies().codes and before.lower() in _currencies().shared:
        before = ""  # "$120 USD": the code says what the sign leaves open
    sign = f"{before} {after}".strip()
    if not sign:
        raise UnitError("currency-missing", f"'{text.strip()}' does not say which currency.", f"Write {examples}.")
    return number(digits, examples), _currency(sign, examples)


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
    raise UnitError("currency-unknown", f"'{sign}' is no currency known here.", f"Write {examples}.")


def money_down(amount: float, currency: str) -> Money:
    """An amount of at least zero rounded down to three digits, no finer than a hundredth.

    An offer must not grow by rounding, nor pretend to more digits than the draws give it.
    """
    exact = Decimal(repr(float(amount)))
    place = max(exact.adjusted() - 2, -2) if exact else 0
    return Money(exact.quantize(Decimal(1).scaleb(place), rounding=ROUND_FLOOR) + 0, currency)
