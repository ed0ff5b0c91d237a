"""One, two or three values as a distribution: what a person who is asked for a figure can say of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeVar

from calibration.errors import UsageError
from calibration.inputs import Distribution
from grader.units import parse_money, parse_share, split_range

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
        raise UsageError("estimate-order", f"The values of '{text}' do not rise.", "Put the least value first.")
    return Distribution(("constant", "uniform", "triangular")[len(values) - 1], tuple(values))


def share_estimate(text: str) -> Distribution:
    """A share of 0..1 from "93 %", "85..98 %" or "80..93..98 %".

    Raises:
        UsageError: as ``parse_share`` and ``distribution_of``.
    """
    return distribution_of([parse_share(part) for part in split_range(text)], text)


def money_estimate(text: str) -> tuple[Distribution, str]:
    """An amount and its currency code from "12 USD" or "8..15..35 USD".

    Raises:
        UsageError: as ``parse_money`` and ``distribution_of``; ``currencies-differ`` within one estimate.
    """
    amounts = [parse_money(part) for part in split_range(text)]
    currency = same_currency({f"'{text}'": {m.currency for m in amounts}})
    return distribution_of([float(m.amount) for m in amounts], text), currency


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
            "Give all amounts in one currency; none is converted here.",
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
        raise type(error)(error.code, f"{what}: {error.message}", error.advice) from error
