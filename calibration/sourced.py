"""Figures with their source: the loader of the TOML files in ``calibration/data``.

Each table of such a file is one figure (``load_figures``) or one uncertain input (``load_inputs``); both state their
source and how it is known. A file that leaves either out is refused as a whole.

A figure::

    [density_gold]
    value = 19.3            # number; `low` and `high` may follow
    unit = "g/cm3"          # "" for a factor or a count
    source = "ASTM B488-01, density taken for pure gold"
    how_known = "read"      # one of HOW_KNOWN

An uncertain input names a distribution instead of a value (parameters by their names in
``calibration.distributions.KINDS``)::

    ["gold_fraction:hard_gold"]
    title = "gold in the plating, by mass"
    distribution = { kind = "triangular", low = 0.985, mode = 0.997, high = 0.999 }
    unit = ""
    source = "…"
    how_known = "judgement"
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from calibration.distributions import KINDS, Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input
from calibration.packaged import toml_of

HOW_KNOWN = (
    "read",  # seen in the source named
    "from memory",  # recalled, the source not opened
    "computed",  # follows from other figures by arithmetic, or by a package that is named
    "measured",  # measured by this project; the source says on what
    "judgement",  # our own choice, built on the sources named
    "common practice, no source",
)

_UNCHECKED = "not yet compared with its source"


def source_words(source: str, how_known: str = "") -> str:
    """A source in words for the user: a source that was only recalled is marked as unchecked."""
    known = "" if how_known in ("", "read") else f" ({how_known})"
    text = f"{source}{known}".replace("from memory of", "as recalled from").replace("from memory", _UNCHECKED)
    return " ".join(text.split())


_FIX = "Correct the file; each figure needs a unit, a source and how it is known."
_COMMON = frozenset({"unit", "source", "how_known"})
_VALUE_KEYS = _COMMON | {"value", "low", "high"}
_INPUT_KEYS = _COMMON | {"title", "distribution"}


@dataclass(frozen=True)
class SourcedValue:
    """A figure with its source.

    Attributes:
        key: its name in the file.
        value: the figure.
        low: least value that the source allows, or None if it gives none.
        high: greatest value that the source allows, or None.
        unit: of all three; empty for a factor or a count.
        source: of the figure.
        how_known: one of ``HOW_KNOWN``.
    """

    key: str
    value: float
    low: float | None
    high: float | None
    unit: str
    source: str
    how_known: str


@dataclass(frozen=True)
class SourcedEntry:
    """An entry that is neither a figure nor an input; a request for a missing part raises a ``DataFileError``.

    Attributes:
        where: file and key, for messages.
        table: as it stands.
    """

    where: str
    table: Mapping[str, Any]

    def only(self, *keys: str) -> None:
        """Refuse any other key."""
        _check_keys(self.where, self.table, frozenset(keys))

    def text(self, key: str) -> str:
        """Text that is not empty."""
        return _text(self.where, self.table, key)

    def number(self, key: str) -> float:
        """A finite number."""
        return _number(self.where, self.table, key)

    def pair(self, key: str) -> tuple[float, float]:
        """Two finite numbers, the greater one not first."""
        given = self.table.get(key)
        if not isinstance(given, list) or len(given) != 2:
            raise _invalid(f"{self.where}: {key} is missing or not two numbers.")
        low, high = (_number(f"{self.where}: {key}", {"a number": n}, "a number") for n in given)
        if low > high:
            raise _invalid(f"{self.where}: {key} is not in increasing order.")
        return low, high

    def is_set(self, key: str) -> bool:
        """A switch; off if it is left out."""
        given = self.table.get(key, False)
        if not isinstance(given, bool):
            raise _invalid(f"{self.where}: {key} is neither true nor false.")
        return given

    def source(self, key: str) -> tuple[str, str]:
        """Source, and how it is known, of a part of the entry: ``key = { source = "…", how_known = "read" }``."""
        given = self.table.get(key)
        if not isinstance(given, dict):
            raise _invalid(f"{self.where}: {key} is missing.")
        where = f"{self.where}: {key}"
        _check_keys(where, given, {"source", "how_known"})
        return _source(where, given)


@cache
def load_figures(name: str) -> Mapping[str, SourcedValue]:
    """The figures of the packaged file ``calibration/data/<name>.toml``, by key; read-only.

    Raises:
        DataFileError: no such file, or an invalid entry.
    """
    return parse(packaged(name), name)


@cache
def load_inputs(name: str) -> Mapping[str, Input]:
    """The uncertain inputs of the packaged file ``calibration/data/<name>.toml``, by name; read-only.

    Raises:
        DataFileError: no such file, or an invalid entry.
    """
    return parse_inputs(packaged(name), name)


def parse(text: str, name: str) -> Mapping[str, SourcedValue]:
    """Read figures from TOML text; ``name`` is used in error messages.

    Raises:
        DataFileError: the text is not TOML, or an entry is invalid.
    """
    return MappingProxyType({key: _value(f"{name}: {key}", key, table) for key, table in _tables(text, name)})


def parse_inputs(text: str, name: str) -> Mapping[str, Input]:
    """Read uncertain inputs from TOML text; ``name`` is used in error messages.

    Raises:
        DataFileError: the text is not TOML, or an entry is invalid.
    """
    return MappingProxyType({key: _input(f"{name}: {key}", key, table) for key, table in _tables(text, name)})


def parse_entries(text: str, name: str) -> Mapping[str, SourcedEntry]:
    """Read entries of another shape from TOML text, by key; ``name`` is used in error messages.

    Raises:
        DataFileError: the text is not TOML, or holds something other than tables.
    """
    return MappingProxyType({key: SourcedEntry(f"{name}: {key}", table) for key, table in _tables(text, name)})


def tables(name: str) -> Mapping[str, Mapping[str, Any]]:
    """The tables of the packaged file ``calibration/data/<name>.toml`` as they stand, for entries of another shape.

    Raises:
        DataFileError: no such file, or no tables in it.
    """
    return MappingProxyType(dict(_tables(packaged(name), name)))


def packaged(name: str) -> str:
    """The text of the packaged file ``calibration/data/<name>.toml``.

    Raises:
        DataFileError: no such file.
    """
    file = resources.files("calibration").joinpath("data", f"{name}.toml")
    if not name.isidentifier() or not file.is_file():
        raise DataFileError("data-file-missing", f"There is no data file '{name}'.", "Install the program again.")
    return file.read_text(encoding="utf-8")


def _tables(text: str, name: str) -> list[tuple[str, dict[str, Any]]]:
    try:
        document = toml_of(text)
    except ValueError as error:
        raise _invalid(f"{name} is not valid TOML: {error}.") from error
    for key, table in document.items():
        if not isinstance(table, dict):
            raise _invalid(f"{name}: {key} is not a table.")
    return list(document.items())


def _value(where: str, key: str, table: Mapping[str, Any]) -> SourcedValue:
    _check_keys(where, table, _VALUE_KEYS)
    value = _number(where, table, "value")
    low = _number(where, table, "low") if "low" in table else None
    high = _number(where, table, "high") if "high" in table else None
    if (low is not None and low > value) or (high is not None and high < value):
        raise _invalid(f"{where}: low, value and high are not in increasing order.")
    return SourcedValue(key, value, low, high, *_provenance(where, table))


def _input(where: str, key: str, table: Mapping[str, Any]) -> Input:
    _check_keys(where, table, _INPUT_KEYS)
    title = _text(where, table, "title")
    given = table.get("distribution")
    if not isinstance(given, dict) or given.get("kind") not in KINDS:
        raise _invalid(f"{where}: distribution must be a table with a kind out of {', '.join(KINDS)}.")
    names = KINDS[given["kind"]]
    _check_keys(where, given, {"kind", *names})
    try:
        distribution = Distribution(given["kind"], tuple(_number(where, given, n) for n in names))
    except DataFileError as error:
        raise _invalid(f"{where}: {error.message}") from error
    unit, source, how_known = _provenance(where, table)
    return Input.named(key, title, distribution, f"{source} ({how_known})", unit)


def _provenance(where: str, table: Mapping[str, Any]) -> tuple[str, str, str]:
    """Unit, source, and how it is known."""
    unit = table.get("unit")
    if not isinstance(unit, str):
        raise _invalid(f'{where}: unit is missing (give "" for a factor or a count).')
    return unit, *_source(where, table)


def _source(where: str, table: Mapping[str, Any]) -> tuple[str, str]:
    """Source, and how it is known."""
    source, how_known = _text(where, table, "source"), _text(where, table, "how_known")
    if how_known not in HOW_KNOWN:
        raise _invalid(f"{where}: how_known is '{how_known}', not one of {', '.join(HOW_KNOWN)}.")
    return source, how_known


def _check_keys(where: str, table: Mapping[str, Any], allowed: set[str] | frozenset[str]) -> None:
    unknown = set(table) - allowed
    if unknown:
        raise _invalid(f"{where}: {', '.join(sorted(unknown))} is not known here.")


def _text(where: str, table: Mapping[str, Any], key: str) -> str:
    text = table.get(key)
    if not isinstance(text, str) or not text.strip():
        raise _invalid(f"{where}: {key} is missing.")
    return text.strip()


def _number(where: str, table: Mapping[str, Any], key: str) -> float:
    number = table.get(key)
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        raise _invalid(f"{where}: {key} is missing or not a number.")
    return float(number)


def _invalid(message: str) -> DataFileError:
    return DataFileError("data-file-invalid", message, _FIX)
