"""Numbers for people: no more digits than are known, always with the unit."""

from __future__ import annotations

import math
import re
from decimal import ROUND_HALF_EVEN, Context, Decimal
from typing import Literal

from calibration.digits import with_minus
from grader.model import Range
from grader.units.quantities import gram_per_unit

MassUnit = Literal["auto", "mg", "g", "ozt", "dwt"]
"""How a person likes masses of gold: in a unit of their own, or in mg, g or kg, whichever reads best."""

# Digits for any float to any place: the usual 28 do not hold a large amount to the hundredth.
_EXACT = Context(prec=700)
_AFTER_NUMBER = re.compile(r"(?<=\d) (?=\D)")


def round_to(value: float, uncertainty: float, *, digits: int = 2, at_least: int = 0) -> str:
    """A value with as many decimals as ``digits`` significant digits of its uncertainty need.

    Args:
        value: to be shown.
        uncertainty: standard uncertainty or half a range, same unit; zero or less means exact: three digits of the
            value itself.
        digits: significant digits of the uncertainty that are kept (GUM 7.2.6 advises at most two).
        at_least: decimals that are always shown.
    """
    size = abs(uncertainty) if uncertainty else abs(value) / 10
    place = math.floor(math.log10(size)) - (digits - 1) if size > 0 and math.isfinite(size) else 0
    decimals = max(-place, at_least)
    exponent = Decimal(1).scaleb(min(-decimals, 0) if decimals > 0 else place)
    return with_minus(f"{_quantized(value, exponent):f}")


def _quantized(value: float | Decimal, exponent: Decimal) -> Decimal:
    """A number rounded to a place, half to even; never minus zero."""
    return _EXACT.add(Decimal(repr(float(value))).quantize(exponent, ROUND_HALF_EVEN, _EXACT), 0)


def _mass_unit(mg: float, liked: MassUnit) -> tuple[str, float]:
    """A unit for a mass in mg, and the factor to it."""
    match liked:
        case "mg":
            return "mg", 1.0
        case "g":
            return "g", 1e-3
        case "ozt" | "dwt":
            return liked, 1e-3 / gram_per_unit(liked, "")
    if abs(mg) < 1e3:
        return "mg", 1.0
    return ("g", 1e-3) if abs(mg) < 1e6 else ("kg", 1e-6)


def format_mass(mass_mg: float, uncertainty_mg: float = 0.0, liked: MassUnit = "auto") -> str:
    """A mass in the unit that a person likes, otherwise in mg, g or kg, whichever reads best: "5.1 mg", "1.23 g"."""
    unit, factor = _mass_unit(mass_mg, liked)
    return f"{round_to(mass_mg * factor, uncertainty_mg * factor)} {unit}"


def in_mass_unit(value_mg: Range, liked: MassUnit = "auto") -> tuple[Range, str]:
    """A range of mass in mg as one in the unit that a person likes, and that unit."""
    unit, factor = _mass_unit(value_mg.value, liked)
    return Range(value_mg.value * factor, value_mg.low * factor, value_mg.high * factor, value_mg.level), unit


def format_money(amount: float | Decimal, currency: str, uncertainty: float = 0.0) -> str:
    """An amount with its currency: to the hundredth, or coarser where the uncertainty (10 and more) asks for it."""
    if uncertainty >= 10:
        return f"{round_to(float(amount), uncertainty)} {currency}"
    return with_minus(f"{_quantized(amount, Decimal('0.01')):f} {currency}")


def format_range(value: Range, unit: str, liked: MassUnit = "auto") -> str:
    """A value and its bounds with the digits that its range supports: "5.1 mg (2.2 to 8.0 mg in 90 of 100 cases)".

    Args:
        value: the range, in ``unit``; masses may be given in mg and are then shown in the unit that is liked.
        unit: "mg", "mm²", a currency code, …
        liked: the unit for masses.
    """
    value, shown = in_mass_unit(value, liked) if unit == "mg" else (value, unit)
    half = (value.high - value.low) / 2
    middle, low, high = (round_to(x, half) for x in (value.value, value.low, value.high))
    if half == 0:
        return f"{middle} {shown}"
    return f"{middle} {shown} ({low} to {high} {shown}, {format_share(value.level)} sure)"


def together(text: str) -> str:
    """A text in which no line may end between a number and the word or unit after it."""
    return _AFTER_NUMBER.sub("\N{NO-BREAK SPACE}", text)


def format_share(share: float) -> str:
    """A share of 0..1 in per cent, "12 %"; below one per cent with a decimal, never rounded to a false 0 or 100."""
    percent = share * 100
    if 0 < percent < 0.1:
        return "under 0.1 %"
    if 99.9 < percent < 100:
        return "over 99.9 %"
    return f"{percent:.1f} %" if 0 < percent < 1 or 99 < percent < 100 else f"{percent:.0f} %"
