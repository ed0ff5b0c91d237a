"""Assumptions from a TOML file: the shipped examples, or a person's own."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from calibration.inputs import Distribution, Input
from calibration.reading import FileKind, packaged_text, parse_toml, read_text
from grader.units import parse_price_per_mass, parse_share, parse_weeks
from grader.value.entries import Basis, Cost, Sale, Settlement, Spot, Work, drift_until_sale
from grader.value.estimates import (
    amount_estimate,
    cost_estimate,
    money_estimate,
    quantity_estimate,
    share_estimate,
)
from grader.value.model import DEFAULT_ACCEPTED_LOSS, Assumptions

_FILE = FileKind(
    code="assumptions",
    what="a file of assumptions",
    most_bytes=1_000_000,
    fix="Compare it with the example that 'grader value --example' writes.",
)
_invalid = _FILE.invalid
_SHARES = {
    "payable": "share of the gold price that is paid",
    "recovery": "share of the gold that is recovered",
    "fee": "fee on the price",
    "tax": "tax on the price",
}
_TOP = frozenset(
    {"currency", "accepted_loss", "as_of", "spot", "drift", "settlement", "work", "cost", "sale", *_SHARES}
)


def load_assumptions(path: Path | None = None) -> Assumptions:
    """The assumptions of a file, or the shipped examples (which have no gold price) for None.

    Raises:
        DataFileError: the file cannot be read, is no TOML, or an entry does not say what it must; the message names
            the file and the entry.
        UsageError: the entries contradict each other, as in ``Assumptions``.
    """
    if path is None:
        return _parse(example_text(), "example_assumptions.toml", examples=True)
    return _parse(read_text(path, _FILE), path.name, examples=False)


def example_text() -> str:
    """The shipped example file, to be copied and changed."""
    return packaged_text("grader.value", "data/example_assumptions.toml")


def _parse(text: str, name: str, *, examples: bool) -> Assumptions:
    data = parse_toml(text, name, _FILE)
    _only(data, _TOP, name, "at the top")
    try:
        return _build(data, name, examples=examples)
    except DataFileError:
        raise
    except UsageError as error:
        raise DataFileError(error.code, f"{name}: {error.message}", error.advice) from error


def _build(data: Mapping[str, Any], name: str, *, examples: bool) -> Assumptions:
    shares = {key: _share(data, key, name) for key in _SHARES}
    costs = tuple(_cost(table, name) for table in _list(data, "cost", name))
    accepted = parse_share(_text(data, "accepted_loss", name)) if "accepted_loss" in data else DEFAULT_ACCEPTED_LOSS
    built = Assumptions(
        currency=_text(data, "currency", name),
        costs=costs,
        accepted_loss=accepted,
        spot=_spot(data["spot"], name) if "spot" in data else None,
        drift=_drift(data["drift"], name) if "drift" in data else None,
        weeks=parse_weeks(data["drift"]["weeks"]) if "drift" in data else None,
        settlement=_settlement(data["settlement"], name) if "settlement" in data else None,
        work=_work(data["work"], name) if "work" in data else None,
        sales=tuple(_sale(table, name) for table in _list(data, "sale", name)),
        payable=shares["payable"],
        recovery=shares["recovery"],
        fee=shares["fee"],
        tax=shares["tax"],
    )
    return replace(built, examples=frozenset(i.name for i in built.inputs())) if examples else built


def _share(data: Mapping[str, Any], key: str, name: str) -> Input:
    if key in ("fee", "tax") and key not in data:
        return Input(key, _SHARES[key], Distribution("constant", (0.0,)), f"left out of {name}")
    table = _table(data.get(key), f"[{key}]", name)
    _only(table, {"title", "estimate", "source"}, name, f"in [{key}]")
    known = share_estimate(_text(table, "estimate", name, key))
    return Input(key, str(table.get("title", _SHARES[key])), known, str(table.get("source", name)))


def _cost(table: Any, name: str, *of_sale: str) -> Cost:
    table = _table(table, "[[cost]]", name)
    _only(table, {"name", "title", "basis", "estimate", "quantity", "source"}, name, "in [[cost]]")
    key = _text(table, "name", name, "cost")
    quantity = _text(table, "quantity", name, f"cost {key}") if "quantity" in table else ""
    basis = table.get("basis", "lot")
    if basis not in ("lot", "purchase"):
        raise _invalid(name, f"the basis of cost {key} must be 'lot' or 'purchase'")
    amount, source = _text(table, "estimate", name, f"cost {key}"), str(table.get("source", name))
    return cost_of((*of_sale, key), str(table.get("title", key)), amount, quantity, source, basis)


def cost_of(of: tuple[str, ...], title: str, amount: str, quantity: str, source: str, basis: Basis = "lot") -> Cost:
    """A cost from its texts.

    Args:
        of: its key, after that of the sale which it belongs to, if any.
        title: plain words.
        amount: as typed.
        quantity: what the amount is multiplied by; empty for one that falls due once.
        source: where the figures come from.
        basis: how often it falls due.

    Raises:
        UsageError: as ``cost_estimate``.
    """
    known, unit, many, per = cost_estimate(amount, quantity)
    how_many = None if many is None else Input("quantity", f"{title}: how much", many, source, per, of)
    return Cost(Input("cost", title, known, source, unit, of), basis, how_many)


def _drift(table: Any, name: str) -> Input:
    table = _table(table, "[drift]", name)
    _only(table, {"weeks", "volatility", "source"}, name, "in [drift]")
    weeks = parse_weeks(_text(table, "weeks", name, "drift"))
    volatility = parse_share(_text(table, "volatility", name, "drift"))
    return drift_until_sale(weeks, volatility, str(table.get("source", name)))


def _settlement(table: Any, name: str) -> Settlement:
    table = _table(table, "[settlement]", name)
    _only(table, {"per_gram", "minimum", "source"}, name, "in [settlement]")
    per_gram, minimum = (_text(table, key, name, "settlement") for key in ("per_gram", "minimum"))
    return settlement_of(per_gram, minimum, str(table.get("source", name)))


def settlement_of(per_gram: str, minimum: str, source: str) -> Settlement:
    """A refiner's charge from "0.5..1..2 USD" (or "1 USD/g") and "50..150 USD".

    Raises:
        UsageError: as ``money_estimate``.
    """
    charge, currency = money_estimate(re.sub(r"/\s*g\b", "", per_gram))
    least, least_currency = money_estimate(minimum)
    return Settlement(
        Input("settlement", "refining charge per gram of gold", charge, source, f"{currency}/g", of=("per-gram",)),
        Input("settlement", "refiner's least charge", least, source, least_currency, of=("minimum",)),
    )


def _work(table: Any, name: str) -> Work:
    table = _table(table, "[work]", name)
    _only(table, {"hours", "rate", "source"}, name, "in [work]")
    hours, rate = (_text(table, key, name, "work") for key in ("hours", "rate"))
    return work_of(hours, rate, str(table.get("source", name)))


def work_of(hours: str, rate: str, source: str) -> Work:
    """One's own time from "2..4 h" and "15 USD/h".

    Raises:
        UsageError: ``unit-wrong-kind`` where one is no time or the other not per hour, or as the estimates.
    """
    worth, per = amount_estimate(rate)
    if not per.endswith("/h"):
        raise UsageError("unit-wrong-kind", f"'{rate}' is not per hour.", "Write it as '15 USD/h'.")
    return Work(_hours("own hours", hours, source), Input("rate", "worth of an own hour", worth, source, per))


def _hours(title: str, text: str, source: str, *, of: tuple[str, ...] = ()) -> Input:
    spent, unit = quantity_estimate(text)
    if unit != "h":
        raise UsageError("unit-wrong-kind", f"'{text}' is no time of work.", "Write it as '2..4 h'.")
    return Input("hours", title, spent, source, unit, of)


def _sale(table: Any, name: str) -> Sale:
    table = _table(table, "[[sale]]", name)
    _only(table, {"name", "title", "price", "share", "cost", "hours", "source"}, name, "in [[sale]]")
    key = _text(table, "name", name, "sale")
    title, source = str(table.get("title", key)), str(table.get("source", name))
    price = sale_price(key, _text(table, "price", name, f"sale {key}"), source)
    share = sale_share(key, _text(table, "share", name, f"sale {key}"), source) if "share" in table else None
    return Sale(
        key,
        title,
        price,
        share,
        tuple(_cost(cost, name, key) for cost in _list(table, "cost", name)),
        _hours(f"own hours ({key})", _text(table, "hours", name, f"sale {key}"), source, of=(key,))
        if "hours" in table
        else None,
    )


def sale_price(key: str, text: str, source: str) -> Input:
    """A price by weight from "40..90 USD/kg".

    Raises:
        UsageError: ``unit-wrong-kind`` where it is not per mass, or as ``amount_estimate``.
    """
    price, unit = amount_estimate(text)
    if not unit.endswith("/kg"):
        raise UsageError("unit-wrong-kind", f"'{text}' is no price by weight.", "Write it as '60 USD/kg'.")
    return Input("price", f"price by weight ({key})", price, source, unit, of=(key,))


def sale_share(key: str, text: str, source: str) -> Input:
    """The share of the boards' mass that is sold, from "4..8..15 %".

    Raises:
        UsageError: as ``share_estimate``.
    """
    return Input("share", f"share of the boards' mass that is sold ({key})", share_estimate(text), source, of=(key,))


def _list(data: Mapping[str, Any], key: str, name: str) -> list[Any]:
    found = data.get(key, [])
    if not isinstance(found, list):
        raise _invalid(name, f"{key}s must be tables under [[{key}]]")
    return found


def _spot(table: Any, name: str) -> Spot:
    table = _table(table, "[spot]", name)
    _only(table, {"price", "date", "source"}, name, "in [spot]")
    on = table.get("date")
    if not isinstance(on, date) or isinstance(on, datetime):
        raise _invalid(name, "the gold price needs its date, such as date = 2026-11-20")
    return Spot.of(parse_price_per_mass(_text(table, "price", name, "spot")), on, str(table.get("source", name)))


def _table(value: Any, where: str, name: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise _invalid(name, f"{where} is missing or no table")
    return value


def _text(table: Mapping[str, Any], key: str, name: str, where: str = "") -> str:
    value = table.get(key)
    if not isinstance(value, str):
        raise _invalid(name, f"{key} is missing or no text {f'in {where}' if where else ''}".strip())
    return value


def _only(table: Mapping[str, Any], known: frozenset[str] | set[str], name: str, where: str) -> None:
    unknown = sorted(set(table) - known)
    if unknown:
        raise _invalid(name, f"{', '.join(unknown)} has no meaning {where} (known: {', '.join(sorted(known))})")
