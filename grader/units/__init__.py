"""Quantities as people type them, once, at the edge: text in, plain floats in named units out, and back to text."""

from __future__ import annotations

from calibration.digits import in_digits
from grader.units.asking import AskingPrice, parse_asking_price
from grader.units.durations import parse_day, parse_hours, parse_weeks
from grader.units.exchange import ExchangeRate, parse_exchange
from grader.units.formats import (
    MassUnit,
    format_mass,
    format_money,
    format_range,
    format_share,
    in_mass_unit,
    round_to,
    together,
)
from grader.units.lot_size import LotSize
from grader.units.money import (
    Money,
    PricePerMass,
    currencies_in,
    currency_codes,
    currency_signs,
    in_currency,
    money_down,
    parse_money,
    parse_price_per_mass,
)
from grader.units.numbers import parse_share, range_ends, spelled_range
from grader.units.quantities import (
    parse_area_mm2,
    parse_length_mm,
    parse_mass_g,
    parse_pair_mm,
    parse_thickness_um,
    parse_volume_ml,
)
from grader.units.weighed import parse_fineness, parse_weighed_mg

__all__ = [
    "AskingPrice",
    "ExchangeRate",
    "LotSize",
    "MassUnit",
    "Money",
    "PricePerMass",
    "currencies_in",
    "currency_codes",
    "currency_signs",
    "format_mass",
    "format_money",
    "format_range",
    "format_share",
    "in_currency",
    "in_digits",
    "in_mass_unit",
    "money_down",
    "parse_area_mm2",
    "parse_asking_price",
    "parse_day",
    "parse_exchange",
    "parse_fineness",
    "parse_hours",
    "parse_length_mm",
    "parse_mass_g",
    "parse_money",
    "parse_pair_mm",
    "parse_price_per_mass",
    "parse_share",
    "parse_thickness_um",
    "parse_volume_ml",
    "parse_weeks",
    "parse_weighed_mg",
    "range_ends",
    "round_to",
    "spelled_range",
    "together",
]
