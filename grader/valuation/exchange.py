"""Example figures carried over to a person's own currency, by a rate of exchange that the person gave."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.own_money import OwnMoney
from grader.units import ExchangeRate, currencies_in
from grader.valuation.model import Assumptions

_T = TypeVar("_T")

# of a distribution's parameters, those that an amount's unit scales; the others are logarithms or counts
_SCALED = {"constant": 1, "uniform": 2, "triangular": 3, "lognormal": 1, "normal": 2}


def in_own_currency(base: Assumptions, money: OwnMoney, typed: Iterable[str | None] = ()) -> Assumptions:
    """The shipped examples in the currency that amounts are typed in, or in the person's own; other figures stay.

    Args:
        base: the figures; those of a person's own file stay in its currency.
        money: the person's own, with rates of exchange.
        typed: amounts as typed; the first that names a currency says which.
    """
    named = [code for text in typed if text for code in currencies_in(text)]
    currency = next(iter(named), money.currency)
    rate = money.rate(base.currency, currency) if currency else None
    if not base.examples or rate is None:
        return base
    return carried_over(base, rate)


def carried_over(figures: _T, rate: ExchangeRate) -> _T:
    """A copy of figures with every amount in another currency.

    Args:
        figures: a frozen dataclass with ``currency`` and ``exchange``. Its amounts are those inputs, wherever in it,
            whose unit names that currency.
        rate: what one of that currency costs.
    """
    return replace(figures, **_moved_fields(figures, rate), currency=rate.price.currency, exchange=rate)  # type: ignore[type-var]


def _moved_fields(value: Any, rate: ExchangeRate) -> dict[str, Any]:
    given = {
        f.name: getattr(value, f.name) for f in fields(value) if f.init and f.name not in ("currency", "exchange")
    }
    return {name: _moved(own, rate) for name, own in given.items()}


def _moved(value: Any, rate: ExchangeRate) -> Any:
    if isinstance(value, Input):
        return _input(value, rate)
    if isinstance(value, tuple):
        return tuple(_moved(v, rate) for v in value)
    if isinstance(value, Mapping):
        return {key: _moved(v, rate) for key, v in value.items()}
    if is_dataclass(value) and not isinstance(value, type | Distribution | ExchangeRate):
        return replace(value, **_moved_fields(value, rate))
    return value


def _input(given: Input, rate: ExchangeRate) -> Input:
    unit, slash, per = given.unit.partition("/")
    if unit != rate.of:
        return given
    known = given.distribution
    scaled = _SCALED[known.kind]
    k = float(rate.price.amount)
    parameters = tuple(p * k if i < scaled else p for i, p in enumerate(known.parameters))
    source = f"{given.source}; in {rate.of}, carried over at {rate}"
    return replace(
        given,
        distribution=Distribution(known.kind, parameters),
        unit=f"{rate.price.currency}{slash}{per}",
        source=source,
    )
