"""The currency that a person uses, and what other currencies cost in it: given once, kept with the day."""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from calibration.files import advice_for, is_there, write_whole
from calibration.reading import FileKind, json_of, read_text
from grader.units import ExchangeRate, Money, currency_codes

_FILE = FileKind(
    code="money", what="kept rates of exchange", most_bytes=100_000, fix="Remove the file and give the rates again."
)


@dataclass(frozen=True)
class OwnMoney:
    """A person's own currency.

    Attributes:
        currency: its code; empty if none was chosen.
        rates: of exchange, one for each pair of currencies, the latest last.
    """

    currency: str = ""
    rates: tuple[ExchangeRate, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.currency and self.currency not in currency_codes():
            raise UsageError(
                "currency-unknown", f"'{self.currency}' is no currency known here.", "Give its code, such as EUR."
            )

    def or_else(self, currency: str) -> OwnMoney:
        """The same, with a currency where none was chosen."""
        return self if self.currency else replace(self, currency=currency)

    def with_rate(self, rate: ExchangeRate) -> OwnMoney:
        """The same with a rate, which replaces one between the same currencies."""
        pair = {rate.of, rate.price.currency}
        return replace(self, rates=(*(r for r in self.rates if {r.of, r.price.currency} != pair), rate))

    def rate(self, of: str, to: str) -> ExchangeRate | None:
        """What one currency costs in another; None if that was never given."""
        for known in self.rates:
            if (known.of, known.price.currency) == (of, to):
                return known
            if (known.price.currency, known.of) == (of, to):
                return known.turned()
        return None


def load_own_money(path: Path) -> OwnMoney:
    """What is kept in a file; nothing if there is none.

    Raises:
        DataFileError: the file does not hold what it should.
    """
    if not is_there(path):
        return OwnMoney()
    text = read_text(path, _FILE)
    try:
        data = json_of(text)
        rates = tuple(_rate(r) for r in data["rates"])
        return OwnMoney(str(data["currency"]), rates)
    except (ValueError, KeyError, TypeError, AttributeError, InvalidOperation, UsageError) as error:
        raise DataFileError("money-invalid", f"{path} holds no rates of exchange.", _FILE.fix) from error


def _rate(data: Any) -> ExchangeRate:
    price, of, currency = Decimal(str(data["price"])), str(data["of"]), str(data["currency"])
    if not (price.is_finite() and price > 0 and {of, currency} <= set(currency_codes()) and of != currency):
        raise ValueError(data)
    return ExchangeRate(Money(price, currency), of, date.fromisoformat(data["on"]))


def keep_own_money(money: OwnMoney, path: Path) -> None:
    """Keep it; the file is there wholly or as it was before. Missing folders are made.

    Raises:
        UsageError: the place cannot be written to.
    """
    rates = [
        {"of": r.of, "price": str(r.price.amount), "currency": r.price.currency, "on": r.on.isoformat()}
        for r in money.rates
    ]
    text = json.dumps({"schema": 1, "currency": money.currency, "rates": rates}, indent=2) + "\n"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UsageError(
            "cannot-write", f"{path.parent} cannot be made ({error.strerror or error}).", advice_for(error)
        ) from error
    write_whole(path, text.encode())
