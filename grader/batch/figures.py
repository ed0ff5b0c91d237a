"""The figures of a process set: which there are, what unit each has, and how each is read from text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from calibration.distributions import Distribution
from calibration.errors import UnitError, UsageError
from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.sourced import SourcedValue, parse
from grader.units import (
    parse_hours,
    parse_mass_g,
    parse_share,
    parse_thickness_um,
    parse_volume_ml,
    parse_weeks,
    range_ends,
)
from grader.units.estimates import amount_estimate, distribution_of
from grader.units.numbers import NUMBER, number, plain

# figure → its unit; "money" stands for the currency
UNITS: Mapping[str, str] = {
    "liquor_per_board": "ml/g",
    "acid_per_peroxide": "",
    "fill": "share",
    "hydrochloric_strength": "mol/l",
    "peroxide_strength": "mol/l",
    "peroxide_used": "share",
    "copper_thickness": "um",
    "nickel_thickness": "um",
    "bare_copper": "share",
    "hydrochloric_as_vapour": "share",
    "days_per_load": "days",
    "hours_per_load": "h",
    "filters_per_load": "",
    "rinses": "count",
    "rinse_per_board": "ml/g",
    "drag_out": "share",
    "nitric_per_gold": "ml/g",
    "least_nitric": "ml",
    "acid_per_nitric": "",
    "nitric_strength": "mol/l",
    "gold_dilution": "",
    "nitrate_left": "share",
    "sulfamic_excess": "",
    "nitrate_after": "share",
    "hours_denitrating": "h",
    "metabisulfite_per_gold": "g/g",
    "days_refining": "days",
    "hours_refining": "h",
    "price_hydrochloric": "money/l",
    "price_peroxide": "money/l",
    "price_nitric": "money/l",
    "price_sulfamic": "money/kg",
    "price_metabisulfite": "money/kg",
    "price_filter": "money",
    "price_rinse_disposal": "money/l",
}


def fixed() -> Mapping[str, SourcedValue]:
    """Figures that no user needs to change."""
    return parse(packaged_text("grader.batch", "data/figures.toml"), "figures")


def batch_figure(key: str, title: str, text: str, source: str) -> Input:
    """An uncertain input from its estimate as typed; amounts of money keep their currency in the unit.

    Raises:
        UsageError: another unit, a value below zero or out of bounds, values that do not rise.
    """
    kind = UNITS[key]
    if kind.startswith("money"):
        known, unit = amount_estimate(text)
        if unit.partition("/")[2] != kind.partition("/")[2]:
            raise UnitError(
                "unit-wrong-kind", f"'{text}' is not a price of this kind.", f"Write it like {_PRICES[kind]}."
            )
        return Input("process", title, known, source, unit, of=(key,))
    known = distribution_of([_READ[kind](part) for part in range_ends(text)], text)
    return Input("process", title, known, source, "" if kind in ("share", "count") else kind, of=(key,))


def quantity(of: str, title: str, text: str, read: Callable[[str], float], unit: str) -> Input:
    """An amount as typed, which may be a range, as an input.

    Raises:
        UsageError: as ``read``, or values that do not rise.
    """
    known = distribution_of([read(part) for part in range_ends(text)], text)
    return Input("given", title, known, "as given", unit, (of,))


def _number(text: str) -> float:
    value = float(number(plain(text, "a number", "a number such as '2.2'"), "a number such as '2.2'"))
    if value <= 0:
        raise UnitError("value-not-positive", f"'{text.strip()}' is not above zero.", "Give a number above zero.")
    return value


def _count(text: str) -> float:
    value = _number(text)
    if value != int(value) or value > 20:
        raise UnitError("count-invalid", f"'{text.strip()}' is not a whole number from 1 to 20.", "Give 1 to 20.")
    return value


def _strength(text: str) -> float:
    match = re.fullmatch(rf"({NUMBER})\s*mol/l", plain(text, "a strength", _STRENGTHS), re.IGNORECASE)
    if match is None:
        raise UnitError("quantity-unreadable", f"'{text.strip()}' is not a strength.", f"Give {_STRENGTHS}.")
    return _number(match[1])


_STRENGTHS = "moles a litre, such as '12.1 mol/l'"


def _ratio(above: Callable[[str], float], example: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        amount, slash, per = text.partition("/")
        if not slash:
            raise UnitError(
                "quantity-unreadable", f"'{text.strip()}' does not say per what.", f"Write it like '{example}'."
            )
        return above(amount) / parse_mass_g(f"1 {per.strip()}")

    return read


_READ: Mapping[str, Callable[[str], float]] = {
    "": _number,
    "count": _count,
    "share": parse_share,
    "um": parse_thickness_um,
    "ml": parse_volume_ml,
    "h": parse_hours,
    "days": lambda text: 7 * parse_weeks(text),
    "mol/l": _strength,
    "ml/g": _ratio(parse_volume_ml, "1.7 ml/g"),
    "g/g": _ratio(parse_mass_g, "1.2 g/g"),
}
_PRICES = {"money": "'0.2 USD'", "money/l": "'4..8 USD/l'", "money/kg": "'12 USD/kg'"}


def constant(known: Distribution, what: str) -> int:
    """A whole number that may not be uncertain.

    Raises:
        UsageError: ``count-uncertain``.
    """
    if known.kind != "constant":
        raise UsageError("count-uncertain", f"The {what} must be one number.", "Give one whole number.")
    return int(known.parameters[0])
