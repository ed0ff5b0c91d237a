"""What one currency costs in another, as a person gives it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from calibration.errors import UnitError
from grader.units.money import Money, currency_codes, parse_money, split_per
from grader.units.numbers import plain

_EXAMPLES = "a rate of exchange such as '1 USD = 0.92 EUR' or '0.92 EUR/USD'"
_DIGITS = 8  # of a rate that was turned round: more than any rate is quoted with


@dataclass(frozen=True)
class ExchangeRate:
    """A rate of exchange.

    Attributes:
        price: of one of the other currency, above zero.
        of: code of the currency that has this price.
        on: the day of the rate.
    """

    price: Money
    of: str
    on: date

    def turned(self) -> ExchangeRate:
        """The same rate as the price of the other currency."""
        price = Decimal(f"{1 / self.price.amount:.{_DIGITS}g}")
        return ExchangeRate(Money(price, self.of), self.price.currency, self.on)

    def __str__(self) -> str:
        return f"1 {self.of} = {self.price} on {self.on.isoformat()}"


def parse_exchange(text: str, on: date) -> ExchangeRate:
    """A rate from "1 USD = 0.92 EUR", "0.92 EUR/USD", "0.92 EUR per USD".

    Raises:
        UnitError: as ``parse_money``; ``rate-unreadable`` where it is no rate, ``rate-not-positive`` for zero.
    """
    folded = plain(text, "a rate of exchange", _EXAMPLES)
    left, equals, right = folded.partition("=")
    if equals:
        one, price = parse_money(left), parse_money(right)
        of = one.currency
        if one.amount <= 0:
            raise _not_positive(text)
        price = Money(price.amount / one.amount, price.currency)
    else:
        amount, word = split_per(folded)
        of = re.sub(r"^1\s+", "", word).upper()
        if of not in currency_codes():
            raise UnitError("rate-unreadable", f"'{text.strip()}' is not an exchange rate.", f"Write {_EXAMPLES}.")
        price = parse_money(amount)
    if price.amount <= 0:
        raise _not_positive(text)
    if price.currency == of:
        raise UnitError("rate-unreadable", f"'{text.strip()}' names one currency.", f"Write {_EXAMPLES}.")
    return ExchangeRate(price, of, on)


def _not_positive(text: str) -> UnitError:
    return UnitError("rate-not-positive", f"'{text.strip()}' is not above zero.", f"Write {_EXAMPLES}.")
