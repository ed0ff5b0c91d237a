"""Assumptions from a TOML file: the shipped examples, or a person's own."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from datetime import date, datetime
from importlib.resources import files
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from calibration.inputs import Distribution, Input
from grader.units import parse_price_per_mass, parse_share
from grader.value.estimates import money_estimate, share_estimate
from grader.value.model import DEFAULT_ACCEPTED_LOSS, Assumptions, Cost, Spot

_MAX_BYTES = 1_000_000
_SHARES = {
    "payable": "share of the gold price that is paid",
    "recovery": "share of the gold that is recovered",
    "fee": "fee on the price",
    "tax": "tax on the price",
}
_TOP = frozenset({"currency", "accepted_loss", "as_of", "spot", "cost", *_SHARES})


def load_assumptions(path: Path | None = None) -> Assumptions:
    """The assumptions of a file, or the shipped examples (which have no gold price) for None.

    Raises:
        DataFileError: the file cannot be read, is no TOML, or an entry does not say what it must; the message names
            the file and the entry.
        UsageError: the entries contradict each other, as in ``Assumptions``.
    """
    if path is None:
        return _parse(example_text(), "example_assumptions.toml", examples=True)
    try:
        data = path.read_bytes()[: _MAX_BYTES + 1]
        if len(data) > _MAX_BYTES:
            raise _invalid(path.name, "it is too large for a file of assumptions")
        text = data.decode("utf-8")
    except OSError as error:
        raise DataFileError(
            "assumptions-unreadable", f"{path} cannot be read ({error.strerror}).", "Check the file's name."
        ) from error
    except UnicodeDecodeError as error:
        raise _invalid(path.name, "it is no UTF-8 text") from error
    return _parse(text, path.name, examples=False)


def example_text() -> str:
    """The shipped example file, to be copied and changed."""
    return files("grader.value").joinpath("data/example_assumptions.toml").read_text("utf-8")


def _parse(text: str, name: str, *, examples: bool) -> Assumptions:
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _invalid(name, f"it is no TOML ({error})") from error
    _only(data, _TOP, name, "at the top")
    try:
        return _build(data, name, examples=examples)
    except DataFileError:
        raise
    except UsageError as error:
        raise DataFileError(error.code, f"{name}: {error.message}", error.advice) from error


def _build(data: Mapping[str, Any], name: str, *, examples: bool) -> Assumptions:
    shares = {key: _share(data, key, name) for key in _SHARES}
    costs = data.get("cost", [])
    if not isinstance(costs, list):
        raise _invalid(name, "costs must be tables under [[cost]]")
    built = tuple(_cost(table, name) for table in costs)
    accepted = parse_share(_text(data, "accepted_loss", name)) if "accepted_loss" in data else DEFAULT_ACCEPTED_LOSS
    inputs = [*shares.values(), *(cost.input for cost in built)]
    return Assumptions(
        currency=_text(data, "currency", name),
        costs=built,
        accepted_loss=accepted,
        spot=_spot(data["spot"], name) if "spot" in data else None,
        examples=frozenset(i.name for i in inputs) if examples else frozenset(),
        **shares,
    )


def _share(data: Mapping[str, Any], key: str, name: str) -> Input:
    if key in ("fee", "tax") and key not in data:
        return Input(key, _SHARES[key], Distribution("constant", (0.0,)), f"left out of {name}")
    table = _table(data.get(key), f"[{key}]", name)
    _only(table, {"title", "estimate", "source"}, name, f"in [{key}]")
    known = share_estimate(_text(table, "estimate", name, key))
    return Input(key, str(table.get("title", _SHARES[key])), known, str(table.get("source", name)))


def _cost(table: Any, name: str) -> Cost:
    table = _table(table, "[[cost]]", name)
    _only(table, {"name", "title", "basis", "estimate", "source"}, name, "in [[cost]]")
    key = _text(table, "name", name, "cost")
    known, currency = money_estimate(_text(table, "estimate", name, f"cost {key}"))
    basis = table.get("basis", "lot")
    if basis not in ("lot", "purchase"):
        raise _invalid(name, f"the basis of cost {key} must be 'lot' or 'purchase'")
    source = str(table.get("source", name))
    return Cost(Input(f"cost:{key}", str(table.get("title", key)), known, source, currency), basis)


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


def _invalid(name: str, why: str) -> DataFileError:
    return DataFileError(
        "assumptions-invalid", f"{name}: {why}.", "Compare it with the example that 'grader value --example' writes."
    )
