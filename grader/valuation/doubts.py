"""Figures that are possible but unlikely: they are confirmed before use.

A doubt is data. The command line asks on a terminal and refuses in a script unless told ``--yes``; the page asks
beside the fields. A gold price is doubted where it lies far outside what a gram of gold costs
(``data/gold_price_bands.toml``): usually its unit was mixed up, or a dot stood for thousands.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Any

import numpy as np

from calibration.notices import Notice
from calibration.packaged import packaged_toml
from grader.units import Money, PricePerMass, in_digits
from grader.valuation.model import Assumptions

_DIGITS = 6  # of a suggestion; rounding noise of a unit's factor is below


@dataclass(frozen=True)
class Doubt:
    """A figure that needs confirmation.

    Attributes:
        code: of its kind, stable.
        message: how it was understood, and why it is doubted.
        advice: what to do, and the likely meaning if there is one.
        suggested: the likely meaning, as it would be typed; None if nothing suggests itself.
    """

    code: str
    message: str
    advice: str
    suggested: str | None = None

    @property
    def notice(self) -> Notice:
        """The doubt as it is shown."""
        return Notice(self.code, self.message, self.advice)


def price_doubts(figures: Assumptions) -> tuple[Doubt, ...]:
    """Doubts about assumptions: their gold price."""
    if figures.spot is None:
        return ()
    amount = float(np.median(figures.spot.input.draws(1000)))
    doubt = price_doubt(PricePerMass(amount, figures.spot.input.unit.partition("/")[0]))
    return () if doubt is None else (doubt,)


def price_doubt(price: PricePerMass) -> Doubt | None:
    """The doubt about a gold price; None if it is plausible or its currency is unknown."""
    band = gold_band_per_g(price.currency)
    if band is None or band[0] <= price.amount_per_g <= band[1]:
        return None
    likely = _likely(price, band)
    suggested = None if likely is None else _written(likely)
    beyond = "below" if price.amount_per_g < band[0] else "above"
    return Doubt(
        "gold-price-doubtful",
        f"A gold price of {_both(price)} is far {beyond} what gold costs.",
        f"Did you mean {suggested}?"
        if suggested
        else "Check the number, its decimal mark, its unit and its currency.",
        suggested,
    )


def gold_band_per_g(currency: str) -> tuple[float, float] | None:
    """Plausible range of the price of a gram of gold in a currency; None for an unknown currency."""
    data = _bands()
    for rate in data["rate"]:
        if currency in rate["codes"].split():
            return data["gold_in_usd"]["low"] * rate["low"], data["gold_in_usd"]["high"] * rate["high"]
    return None


def dollars_at_most(amount: float, currency: str) -> float | None:
    """An amount in US dollars, at the rate that makes it the most of them; None for an unknown currency."""
    rates = [rate["low"] for rate in _bands()["rate"] if currency in rate["codes"].split()]
    return amount / rates[0] if rates else None


@cache
def _bands() -> Mapping[str, Any]:
    return packaged_toml("grader.valuation", "data/gold_price_bands.toml")


@cache
def _mix_ups() -> tuple[float, ...]:
    """Ratios of mistaken to intended prices."""
    per_ounce = PricePerMass(1.0, "USD").amount_per_troy_ounce
    pennyweights = 20.0  # to the troy ounce
    return per_ounce, 1 / per_ounce, pennyweights, 1 / pennyweights, 1000.0, 1 / 1000


def _likely(price: PricePerMass, band: tuple[float, float]) -> PricePerMass | None:
    """The price that a mix-up would explain; of several, the roundest, because people type round numbers."""
    meant = [PricePerMass(price.amount_per_g * factor, price.currency) for factor in _mix_ups()]
    within = [p for p in meant if band[0] <= p.amount_per_g <= band[1]]
    middle = math.log(band[0] * band[1]) / 2
    return min(
        within, key=lambda p: (len(_roundest(p)[0].strip("0")), abs(math.log(p.amount_per_g) - middle)), default=None
    )


def _roundest(price: PricePerMass) -> tuple[str, str]:
    """A price per gram or per troy ounce, whichever takes fewer digits: digits without a mark, and the unit."""
    digits = {"g": _digits(price.amount_per_g), "ozt": _digits(price.amount_per_troy_ounce)}
    unit = min(digits, key=lambda u: len(digits[u].replace(".", "").strip("0")))
    return digits[unit].replace(".", ""), unit


def _written(price: PricePerMass) -> str:
    _, unit = _roundest(price)
    digits = _digits(price.amount_per_g if unit == "g" else price.amount_per_troy_ounce)
    return f"{Money(Decimal(digits), price.currency)}/{unit}"


def _both(price: PricePerMass) -> str:
    per_g, per_ozt = _digits(price.amount_per_g, 4), _digits(price.amount_per_troy_ounce, 4)
    return f"{per_g} {price.currency}/g ({per_ozt} {price.currency}/ozt)"


def _digits(amount: float, digits: int = _DIGITS) -> str:
    """An amount with so many digits, no exponent where it can be read without one."""
    if not 1e-6 <= amount < 1e15:
        return in_digits(amount)
    decimals = max(digits - 1 - math.floor(math.log10(amount)), 0)
    text = f"{round(amount, digits - 1 - math.floor(math.log10(amount))):.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
