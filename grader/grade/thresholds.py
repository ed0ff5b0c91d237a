"""What makes a board worth processing or selling: the user's thresholds, from a TOML file or the shipped examples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path

from calibration.errors import DataFileError, UsageError
from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.reading import FileKind, parse_toml, read_text
from grader.units import parse_share
from grader.units.estimates import amount_estimate, named, quantity_estimate, same_currency

_KEYS: Mapping[str, frozenset[str]] = {
    "process": frozenset({"least_per_gram", "least_per_minute", "chance", "cost_per_gram"}),
    "sell_whole": frozenset({"least_per_minute", "chance"}),
    "work": frozenset({"board", "cut", "sale"}),
    "order": frozenset({"certainty"}),
}
_TITLES = {
    "board": "own time for each board that is processed",
    "cut": "own time for each cut",
    "sale": "own time for each board that is sold whole",
}
_FILE = FileKind(
    code="thresholds",
    what="a file of thresholds",
    most_bytes=100_000,
    fix="Compare it with the example thresholds.",
)
_invalid = _FILE.invalid


@dataclass(frozen=True)
class Thresholds:
    """What the user asks of a board.

    Attributes:
        currency: three-letter code of all amounts.
        least_per_kg: gold value for each kilogram to process.
        least_per_h: gold value for each hour of work.
        chance: with which both have to be reached, 0..1.
        cost_per_kg: of processing.
        sale_least_per_h: what a sale by weight has to bring for each hour that it takes.
        sale_chance: with which it has to.
        board_h: own time for a board that is processed, unit "h".
        cut_h: own time for a cut, unit "h".
        sale_h: own time for a board that is sold whole, unit "h".
        certainty: of an order, from which two neighbours count as distinguished, 0.5..1.
        are_examples: whether these are the shipped ones.
    """

    currency: str
    least_per_kg: float
    least_per_h: float
    chance: float
    cost_per_kg: float
    sale_least_per_h: float
    sale_chance: float
    board_h: Input
    cut_h: Input
    sale_h: Input
    certainty: float
    are_examples: bool = False

    @cached_property
    def inputs(self) -> dict[str, Input]:
        """Every uncertain one by its name."""
        return {i.name: i for i in (self.board_h, self.cut_h, self.sale_h)}


def example_thresholds_text() -> str:
    """The shipped example file, to be copied and changed."""
    return packaged_text("grader.grade", "data/example_thresholds.toml")


def load_thresholds(path: Path | None = None) -> Thresholds:
    """The thresholds of a file, or the shipped examples for None.

    Raises:
        DataFileError: the file cannot be read, is not TOML, or an entry does not say what it must; the message names
            the file and the entry.
    """
    if path is None:
        return _parse(example_thresholds_text(), "example_thresholds.toml", are_examples=True)
    return _parse(read_text(path, _FILE), path.name, are_examples=False)


def with_thresholds(
    base: Thresholds,
    *,
    least_per_gram: str | None = None,
    least_per_minute: str | None = None,
    cost_per_gram: str | None = None,
    sale_least_per_minute: str | None = None,
) -> Thresholds:
    """The base with some amounts replaced; what is None stays. The first one given says the currency.

    Raises:
        UsageError: an amount cannot be read (the message names it), or is in another currency than the others.
    """
    given = {
        field: (title, *named(title, partial(_amount, per=per), text))
        for field, title, text, per in (
            ("least_per_kg", "least value per gram", least_per_gram, "kg"),
            ("least_per_h", "least value per minute", least_per_minute, "h"),
            ("cost_per_kg", "cost of processing a gram", cost_per_gram, "kg"),
            ("sale_least_per_h", "least a sale brings per minute", sale_least_per_minute, "h"),
        )
        if text is not None
    }
    if not given:
        return base
    # amounts that were not given are in the base's currency
    kept = {} if len(given) == len(_AMOUNTS) else {"the other thresholds": {base.currency}}
    currency = same_currency({title: {code} for title, _, code in given.values()} | kept)
    amounts = {field: amount for field, (_, amount, _) in given.items()}
    return replace(
        base,
        currency=currency,
        are_examples=base.are_examples and bool(kept),
        least_per_kg=amounts.get("least_per_kg", base.least_per_kg),
        least_per_h=amounts.get("least_per_h", base.least_per_h),
        cost_per_kg=amounts.get("cost_per_kg", base.cost_per_kg),
        sale_least_per_h=amounts.get("sale_least_per_h", base.sale_least_per_h),
    )


_AMOUNTS = ("least_per_kg", "least_per_h", "cost_per_kg", "sale_least_per_h")


def _parse(text: str, name: str, *, are_examples: bool) -> Thresholds:
    data = parse_toml(text, name, _FILE)
    for table, keys in _KEYS.items():
        found = data.get(table)
        if not isinstance(found, dict) or set(found) != keys or not all(isinstance(v, str) for v in found.values()):
            raise _invalid(
                name, f"[{table}] must have these entries and no others, as texts: {', '.join(sorted(keys))}"
            )
    if set(data) != set(_KEYS):
        raise _invalid(name, f"the tables must be {', '.join(_KEYS)}")
    try:
        return _build(data, name, are_examples=are_examples)
    except DataFileError:
        raise
    except UsageError as error:
        raise DataFileError.of(error, f"{name}: {error.message}") from error


def _build(data: Mapping[str, Mapping[str, str]], name: str, *, are_examples: bool) -> Thresholds:
    process, sell, work = data["process"], data["sell_whole"], data["work"]
    amounts = {
        key: named(key, partial(_amount, per=per), text)
        for key, text, per in (
            ("least_per_gram", process["least_per_gram"], "kg"),
            ("least_per_minute", process["least_per_minute"], "h"),
            ("cost_per_gram", process["cost_per_gram"], "kg"),
            ("[sell_whole] least_per_minute", sell["least_per_minute"], "h"),
        )
    }
    currencies = {currency for _, currency in amounts.values()}
    if len(currencies) > 1:
        raise _invalid(name, f"amounts are in several currencies ({', '.join(sorted(currencies))})")
    certainty = named("certainty", parse_share, data["order"]["certainty"])
    if not 0.5 <= certainty < 1:
        raise _invalid(name, "certainty must be at least 50 % and below 100 %")
    return Thresholds(
        currency=currencies.pop(),
        least_per_kg=amounts["least_per_gram"][0],
        least_per_h=amounts["least_per_minute"][0],
        chance=named("[process] chance", parse_share, process["chance"]),
        cost_per_kg=amounts["cost_per_gram"][0],
        sale_least_per_h=amounts["[sell_whole] least_per_minute"][0],
        sale_chance=named("[sell_whole] chance", parse_share, sell["chance"]),
        board_h=_time("board", work["board"], name),
        cut_h=_time("cut", work["cut"], name),
        sale_h=_time("sale", work["sale"], name),
        certainty=certainty,
        are_examples=are_examples,
    )


def _amount(text: str, per: str) -> tuple[float, str]:
    """One amount for each kilogram or hour, and its currency."""
    known, unit = amount_estimate(text)
    currency, _, of = unit.partition("/")
    if of != per or not known.is_constant:
        wanted = {"kg": "mass, such as '0.05 USD/g'", "h": "time, such as '0.10 USD/min'"}[per]
        raise UsageError("unit-wrong-kind", f"'{text}' is not one amount for each unit of {wanted}.", "Correct it.")
    return known.parameters[0], currency


def _time(key: str, text: str, source: str) -> Input:
    known, unit = named(key, quantity_estimate, text)
    if unit != "h" or min(known.parameters) <= 0:
        raise UsageError("unit-wrong-kind", f"{key}: '{text}' is not a time above zero.", "Write it as '0.5..1 min'.")
    return Input("work", _TITLES[key], known, source, "h", of=(key,))
