"""Process sets: all figures of a process with their sources, shipped as examples or a person's own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.errors import DataFileError, UsageError
from calibration.files import is_file, is_there
from calibration.inputs import Input
from calibration.packaged import packaged_text
from calibration.reading import FileKind, parse_toml, read_text
from calibration.sourced import HOW_KNOWN
from grader.batch.figures import UNITS, batch_figure, constant
from grader.units import ExchangeRate
from grader.units.estimates import same_currency

_FILE = FileKind(
    code="process",
    what="a process set",
    most_bytes=1_000_000,
    fix="Compare it with the example set.",
)
_invalid = _FILE.invalid
_KEYS = frozenset({"title", "estimate", "source", "how_known"})


@dataclass(frozen=True)
class Process:
    """All figures of a process.

    Attributes:
        name: of the set.
        currency: three-letter code of all prices.
        figures: uncertain inputs by the keys of ``grader.batch.figures.UNITS``, all of them.
        examples: keys of the figures that are shipped examples.
        exchange: the rate at which prices of the examples were carried over from another currency, if they were.

    Raises:
        UsageError: ``currencies-differ``, ``count-uncertain``, ``figure-zero``.
    """

    name: str
    currency: str
    figures: Mapping[str, Input]
    examples: frozenset[str]
    exchange: ExchangeRate | None = None

    def __post_init__(self) -> None:
        used = {f.title: {f.unit.partition("/")[0]} for key, f in self.figures.items() if key.startswith("price_")}
        same_currency({"currency": {self.currency}, **used})
        constant(self.figures["rinses"].distribution, "number of rinses")
        if self.figures["fill"].distribution.parameters[0] <= 0:
            raise UsageError("figure-zero", "An empty vessel holds no load.", "Give a fill such as '80 %'.")


def example_process_text() -> str:
    """The shipped example file, to be copied and changed."""
    return packaged_text("grader.batch", "data/example_process.toml")


def process_sets(folder: Path) -> dict[str, Path]:
    """Names and files of the sets in a folder, which need not exist."""
    return {path.stem: path for path in sorted(folder.glob("*.toml")) if is_file(path)}


def load_process(given: str | None = None, folder: Path | None = None) -> Process:
    """A process set by its name or a file's path; the shipped examples for None. What a set leaves out is an example.

    Raises:
        UsageError: ``process-unknown``: neither a set in the folder nor a file; or as ``Process``.
        DataFileError: the file cannot be read, or an entry does not say what it must.
    """
    shipped = _read(example_process_text(), "example_process.toml")
    if given is None:
        return Process("example", shipped[0], shipped[1], frozenset(shipped[1]))
    path = (process_sets(folder) if folder is not None else {}).get(given, Path(given))
    titles = {key: f.title for key, f in shipped[1].items()}
    currency, own = _read(_text_of(path, given), path.name, titles)
    figures = {**shipped[1], **own}
    return Process(path.stem, currency or shipped[0], figures, frozenset(set(shipped[1]) - set(own)))


def _text_of(path: Path, given: str) -> str:
    if not is_there(path):
        raise UsageError(
            "process-unknown",
            f"There is no file or process set named '{given}'.",
            "Start from a copy of the example set.",
        )
    return read_text(path, _FILE)


def _read(text: str, name: str, titles: Mapping[str, str] | None = None) -> tuple[str, dict[str, Input]]:
    """Currency (empty if the file has none) and figures of a file; titles for those that have none."""
    data = parse_toml(text, name, _FILE)
    currency = data.pop("currency", "")
    if not isinstance(currency, str):
        raise _invalid(name, "currency is not a text")
    unknown = sorted(set(data) - set(UNITS))
    if unknown:
        raise _invalid(name, f"{', '.join(unknown)} is not known here (known: {', '.join(sorted(UNITS))})")
    return currency, {key: _figure(key, table, name, titles or {}) for key, table in data.items()}


def _figure(key: str, table: Any, name: str, titles: Mapping[str, str]) -> Input:
    if not isinstance(table, Mapping) or set(table) - _KEYS or not isinstance(table.get("estimate"), str):
        raise _invalid(name, f"[{key}] needs an estimate as text, and may have {', '.join(sorted(_KEYS))}")
    how_known = str(table.get("how_known", ""))
    if how_known and how_known not in HOW_KNOWN:
        raise _invalid(name, f"[{key}]: how_known must be one of {', '.join(HOW_KNOWN)}")
    source = str(table.get("source", name)) + (f" ({how_known})" if how_known else "")
    try:
        return batch_figure(key, str(table.get("title", titles.get(key, key))), table["estimate"], source)
    except UsageError as error:
        raise DataFileError.of(error, f"{name}, {key}: {error.message}") from error
