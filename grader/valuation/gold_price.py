"""A gold price as people type it: "2650", "$2,650/oz", "85". What was left out is filled in, and said.

The currency left out is the one in force. The unit left out is the troy ounce, in which gold is quoted, or the gram
where only that makes it a price of gold (``doubts.gold_band_per_g``). A mark that is one for thousands to some, for
decimals to others is read the one way that gives a price of gold.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import product

from calibration.errors import UnitError
from grader.units import PricePerMass, in_currency, parse_price_per_mass
from grader.units.money import shares_sign, split_per
from grader.valuation.doubts import gold_band_per_g

USUAL_CURRENCY = "USD"
"""In which gold is quoted: the currency in force until a person chooses another (common practice, no source)."""

_UNITS = {"ozt": "troy ounce", "g": "gram"}
_EITHER = re.compile(r"(?<![\d.,])([1-9]\d{0,2})[.,](\d{3})(?![\d.,])")


@dataclass(frozen=True)
class GoldPriceText:
    """A gold price in full.

    Attributes:
        text: as ``parse_price_per_mass`` reads it; the text as typed where it is no gold price.
        said: how it was read, "read as 2650 USD per troy ounce"; empty if it was typed in full.
    """

    text: str
    said: str = ""


def gold_price_in_full(typed: str, currency: str = USUAL_CURRENCY) -> GoldPriceText:
    """A gold price with the currency and the unit that were left out.

    Args:
        typed: such as "2650", "$2650/oz", "2,650.40", "85.2 EUR/g".
        currency: the one in force, its code.

    Raises:
        UnitError: ``currency-ambiguous`` for a plain "$" where the currency in force is another dollar than USD.
    """
    if not typed.strip():
        return GoldPriceText(typed)
    named = _with_currency(typed, currency)
    amount, unit = split_per(named)
    units = [unit] if unit else list(_UNITS)
    amounts = [amount]
    if _EITHER.search(amount):  # a further zero makes a decimal mark plain
        amounts = [_EITHER.sub(r"\1\2", amount), _EITHER.sub(r"\1.\g<2>0", amount)]
    read = [(a, u, price) for a, u in product(amounts, units) if (price := _price(f"{a}/{u}")) is not None]
    fitting = [each for each in read if _is_of_gold(each[2])]
    if len(amounts) > 1 and len({a for a, _, _ in fitting}) != 1:
        return GoldPriceText(named)
    if not read:
        return GoldPriceText(named if unit else typed)
    a, u, price = (fitting or read)[0]
    if (a, u, named) == (amount, unit, typed.strip()) and not price.ounce_taken_as_troy:
        return GoldPriceText(typed)
    unit = "ozt" if price.ounce_taken_as_troy else u
    said = amount if a == amounts[-1] else a
    return GoldPriceText(f"{a}/{unit}", f"read as {said} per {_UNITS.get(unit, unit)}")


def _with_currency(typed: str, currency: str) -> str:
    """The price with a currency; USD for a plain "$"."""
    text = typed.strip()
    bare = in_currency(text, USUAL_CURRENCY)
    has_dollar = "$" in text and bare != text
    if has_dollar and currency != USUAL_CURRENCY and shares_sign(currency, "$"):
        raise UnitError(
            "currency-ambiguous",
            f"'$' may mean {currency} or {USUAL_CURRENCY}, in which gold is mostly quoted.",
            f"Write {in_currency(text, currency)} or {bare}.",
        )
    return bare if has_dollar else in_currency(text, currency)


def _price(text: str) -> PricePerMass | None:
    try:
        return parse_price_per_mass(text)
    except UnitError:
        return None


def _is_of_gold(price: PricePerMass) -> bool:
    band = gold_band_per_g(price.currency)
    return band is not None and band[0] <= price.amount_per_g <= band[1]
