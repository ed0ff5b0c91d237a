"""What a seller asks, as sellers write it: for the lot, by weight, or by the board."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from calibration.errors import UnitError
from grader.units.money import Money, parse_money, split_count, split_per
from grader.units.numbers import plain
from grader.units.quantities import mass_word

PricePer = Literal["lot", "kg", "lb", "board"]

_EXAMPLES = "an asking price such as '120 USD', '15 USD/kg', '5 USD/lb' or '3.50 USD per board'"
_WORDS: dict[str, PricePer] = {
    **dict.fromkeys(("lot", "the lot", "all", "all of it", "everything", "the whole lot"), "lot"),
    **dict.fromkeys(
        ("board", "boards", "card", "cards", "module", "modules", "piece", "pieces", "pc", "pcs"), "board"
    ),
}
# pint's name of a mass → what the price is then per, and how many of those the mass is
_MASSES: dict[str, tuple[PricePer, Decimal]] = {
    "kilogram": ("kg", Decimal(1)),
    "metric_ton": ("kg", Decimal(1000)),
    "pound": ("lb", Decimal(1)),
}
_EACH = re.compile(r"\s+(?:each|ea\.?|apiece)$", re.IGNORECASE)
_FOR_ALL = re.compile(r"\s+(?:for\s+)?(the lot|the whole lot|all|all of it|everything)$", re.IGNORECASE)
_A = re.compile(r"\s+an?\s+(?=[^\W\d]+\.?$)", re.IGNORECASE)


@dataclass(frozen=True)
class AskingPrice:
    """A seller's price.

    Attributes:
        amount: for one of what it is per.
        per: the lot, a kilogram, an avoirdupois pound, or a board.
    """

    amount: Money
    per: PricePer

    def __str__(self) -> str:
        return str(self.amount) if self.per == "lot" else f"{self.amount}/{self.per}"


def parse_asking_price(text: str) -> AskingPrice:
    """A seller's price from "120 USD", "15 USD/kg", "40 USD per lb", "3.50 USD per board", "2 EUR each".

    A price per tonne or per 10 kg is turned into one per kilogram, one per 100 boards into one per board.

    Raises:
        UnitError: as ``parse_money``; ``asking-per-what`` where it is per anything else.
    """
    folded = plain(text, "an asking price", _EXAMPLES)
    if each := _EACH.search(folded):
        folded = f"{folded[: each.start()]} per board"
    elif for_all := _FOR_ALL.search(folded):
        folded = folded[: for_all.start()]
    amount, per_one = split_per(_A.sub(" per ", folded))
    money = parse_money(amount)
    if not per_one:
        return AskingPrice(money, "lot")
    many, word = split_count(per_one, _EXAMPLES)
    per, size = _per(word, text)
    if many <= 0:
        raise _per_what(text)
    return AskingPrice(Money(money.amount / (many * size), money.currency), per)


def _per(word: str, text: str) -> tuple[PricePer, Decimal]:
    known = _WORDS.get(word.strip().rstrip(".").lower())
    if known is not None:
        return known, Decimal(1)
    try:
        name = mass_word(word, _EXAMPLES)
    except UnitError as error:
        raise (error if error.code == "unit-ambiguous" else _per_what(text)) from error
    if name not in _MASSES:
        raise _per_what(text)
    return _MASSES[name]


def _per_what(text: str) -> UnitError:
    return UnitError(
        "asking-per-what",
        f"'{text.strip()}' is per nothing that boards are sold by.",
        "Give it for the lot, per kg, per lb or per board: '120 USD', '15 USD/kg', '5 USD/lb', '3.50 USD per board'.",
    )
