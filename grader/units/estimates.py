"""One, two or three values as a distribution: what a person who is asked for a figure can say of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from itertools import pairwise
from typing import TypeVar

from calibration.distributions import Distribution
from calibration.errors import UnitError, UsageError
from grader.units import parse_hours, parse_mass_g, parse_money, parse_share, parse_volume_ml, range_ends
from grader.units.numbers import NUMBER, number

_T = TypeVar("_T")


def distribution_of(values: Sequence[float], text: str) -> Distribution:
    """A constant, a uniform distribution, or a triangular one, after JCGM 101:2008 table 1.

    Args:
        values: one value, least and greatest, or least, most likely and greatest.
        text: as typed, for the message.

    Raises:
        UsageError: ``estimate-unreadable`` for more than three values, ``estimate-order`` if they do not rise.
    """
    if not 1 <= len(values) <= 3:
        raise UsageError(
            "estimate-unreadable",
            f"'{text}' has {len(values)} values.",
            "Give one value, two (least..greatest) or three (least..most likely..greatest).",
        )
    if any(a > b for a, b in pairwise(values)):
        raise UsageError(
            "estimate-order", f"The values of '{text}' are not in rising order.", "Put the least value first."
        )
    return Distribution(("constant", "uniform", "triangular")[len(values) - 1], tuple(values))


def share_estimate(text: str) -> Distribution:
    """A share of 0..1 from "93 %", "85..98 %" or "80..93..98 %".

    Raises:
        UsageError: as ``parse_share`` and ``distribution_of``.
    """
    return distribution_of([parse_share(part) for part in range_ends(text)], text)


def money_estimate(text: str) -> tuple[Distribution, str]:
    """An amount and its currency code from "12 USD" or "8..15..35 USD".

    Raises:
        UsageError: as ``parse_money`` and ``distribution_of``; ``currencies-differ`` within one estimate.
    """
    known, unit = amount_estimate(text)
    if "/" in unit:
        raise UsageError("unit-wrong-kind", f"'{text}' is not a plain amount.", "Write an amount such as '12 USD'.")
    return known, unit


def amount_estimate(text: str) -> tuple[Distribution, str]:
    """An amount per unit and "currency/unit" from "4..8 USD/l", "15 USD/h", "40..90 USD/kg"; once from "12 USD".

    Litres, hours, kilograms, kilograms of pieces, grams of gold, boards, cuts and vessel loads are what amounts can
    be per; other units of the same kind are turned into litres, hours and kilograms.

    Raises:
        UsageError: as ``parse_money``, ``distribution_of`` and ``quantity_estimate``; ``currencies-differ``.
    """
    parts = [part.partition("/") for part in range_ends(text)]
    money = [parse_money(amount) for amount, _, _ in parts]
    currency = same_currency({f"'{text}'": {m.currency for m in money}})
    units = [_in_base(f"1 {word.strip()}") if slash else (1.0, "") for _, slash, word in parts]
    if len({unit for _, unit in units}) > 1:
        raise UsageError(
            "unit-wrong-kind", f"'{text}' mixes amounts per different units.", "Give all per the same unit."
        )
    known = distribution_of([float(m.amount) / one for m, (one, _) in zip(money, units, strict=True)], text)
    return known, f"{currency}/{units[0][1]}" if units[0][1] else currency


def quantity_estimate(text: str) -> tuple[Distribution, str]:
    """A quantity and its unit, "l", "h", "kg" or "" for a share, from "2..5 l", "90 min", "3 kg", "5 %".

    Raises:
        UsageError: no such quantity, or as ``distribution_of``.
    """
    values = [_in_base(part) for part in range_ends(text)]
    if len({unit for _, unit in values}) > 1:
        raise UsageError("unit-wrong-kind", f"'{text}' mixes kinds of units.", "Give all values in one unit.")
    return distribution_of([value for value, _ in values], text), values[0][1]


def cost_estimate(amount: str, quantity: str) -> tuple[Distribution, str, Distribution | None, str]:
    """An amount with "currency/unit", and the quantity with its unit; None for once, or for as much as the lot has.

    Raises:
        UsageError: as the two estimates; ``unit-wrong-kind`` where they do not fit each other.
    """
    known, unit = amount_estimate(amount)
    per = unit.partition("/")[2]
    if not quantity:
        return known, unit, None, ""
    many, of = quantity_estimate(quantity)
    if per != of:
        raise UsageError(
            "unit-wrong-kind", f"'{amount}' cannot be multiplied by '{quantity}'.", "Give both in the same unit."
        )
    return known, unit, many, of


_AS_PLANNED = re.compile(r"\s*as planned\s*(?:,\s*else\s*(.+))?", re.IGNORECASE | re.DOTALL)


def planned_text(text: str) -> tuple[bool, str]:
    """Whether a text says "as planned", and what it says for where there is no plan ("as planned, else 2..4 h").

    Raises:
        UsageError: ``plan-alone`` where it says nothing for that.
    """
    found = _AS_PLANNED.fullmatch(text)
    if found is None:
        return False, text
    if not found[1]:
        raise UsageError(
            "plan-alone",
            f"'{text}' does not say what holds where nothing was planned.",
            "Write it like 'as planned, else 2..4 h'.",
        )
    return True, found[1]


# What amounts can be per besides litres, hours and kilograms, as people write it.
_COUNTED: Mapping[str, str] = {
    "board": "board", "boards": "board", "cut": "cut", "cuts": "cut", "load": "load", "loads": "load",
    "vessel load": "load", "kg of pieces": "kg of pieces", "kg pieces": "kg of pieces", "g of gold": "g of gold",
    "g gold": "g of gold",
}  # fmt: skip
_COUNT = re.compile(rf"({NUMBER})\s*(\D.*)")


def _in_base(text: str) -> tuple[float, str]:
    """A quantity in litres, hours, kilograms, as a count or as a share, whichever it is."""
    counted = _COUNT.fullmatch(text.strip())
    if counted and (unit := _COUNTED.get(" ".join(counted[2].lower().split()))) is not None:
        return float(number(counted[1], "a number")), unit
    if text.strip().endswith("%"):
        return parse_share(text), ""
    errors = []
    for read, factor, unit in ((parse_hours, 1.0, "h"), (parse_volume_ml, 1e-3, "l"), (parse_mass_g, 1e-3, "kg")):
        try:
            return read(text) * factor, unit
        except UnitError as error:
            if error.code in ("unit-missing", "value-negative", "value-zero", "number-ambiguous", "value-not-finite"):
                raise
            errors.append(error)
    raise errors[-1]


def same_currency(used: dict[str, set[str]]) -> str:
    """The one currency that all use.

    Args:
        used: what → its currency codes.

    Raises:
        UsageError: ``currencies-differ``, naming each. Nothing is converted.
    """
    codes = sorted(set().union(*used.values()))
    if len(codes) > 1:
        named = "; ".join(f"{what}: {', '.join(sorted(own))}" for what, own in used.items())
        raise UsageError(
            "currencies-differ",
            f"Amounts are in more than one currency ({named}).",
            "Give all amounts in one currency; amounts are not converted.",
        )
    return codes[0]


def named(what: str, read: Callable[[str], _T], text: str) -> _T:
    """Read a text; an error then says which entry it was.

    Raises:
        UsageError: as ``read``, of the same kind and code.
    """
    try:
        return read(text)
    except UsageError as error:
        raise type(error).of(error, f"{what}: {error.message}") from error
