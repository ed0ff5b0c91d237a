"""The plating finishes that are distinguished, with their names and their looks in pictures.

They are defined in ``calibration/data/finishes.toml``: another finish is a further table there, with its thickness,
density and gold fraction beside it (``thickness.toml``, ``gold_properties.toml``).
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Literal, TypeAlias, get_args

from calibration.errors import DataFileError
from calibration.sourced import SourcedEntry, packaged, parse_entries

Finish: TypeAlias = str
"""Key of a finish in ``finishes.toml``; one of ``FINISHES``."""

Hatch = Literal["lines", "dots", "crosses", "rungs", "waves"]

HARD_GOLD: Finish = "hard_gold"
IMMERSION_GOLD: Finish = "immersion_gold"
UNDETERMINED: Finish = "undetermined"
_FILE = "finishes"


def _entries() -> Mapping[Finish, SourcedEntry]:
    found = parse_entries(packaged(_FILE), _FILE)
    for entry in found.values():
        entry.only("words", "rgb", "hatch", "source", "how_known")
        entry.text("source")
    if missing := {HARD_GOLD, IMMERSION_GOLD, UNDETERMINED} - set(found):
        raise _invalid(f"{_FILE}: there is no {', '.join(sorted(missing))}.")
    return found


def _rgb(entry: SourcedEntry) -> tuple[int, int, int]:
    given = entry.table.get("rgb")
    if not isinstance(given, list) or len(given) != 3 or not all(isinstance(n, int) and 0 <= n <= 255 for n in given):
        raise _invalid(f"{entry.where}: rgb is not three whole numbers from 0 to 255.")
    red, green, blue = given
    return red, green, blue


def _hatch(entry: SourcedEntry) -> Hatch:
    hatches: tuple[Hatch, ...] = get_args(Hatch)
    for hatch in hatches:
        if entry.text("hatch") == hatch:
            return hatch
    raise _invalid(f"{entry.where}: hatch is not one of {', '.join(get_args(Hatch))}.")


def _invalid(message: str) -> DataFileError:
    return DataFileError("data-file-invalid", message, "Correct the file.")


_ENTRIES = _entries()
FINISHES: tuple[Finish, ...] = tuple(_ENTRIES)
FINISH_WORDS: Mapping[Finish, str] = MappingProxyType({f: e.text("words") for f, e in _ENTRIES.items()})
FINISH_RGB: Mapping[Finish, tuple[int, int, int]] = MappingProxyType({f: _rgb(e) for f, e in _ENTRIES.items()})
FINISH_HATCH: Mapping[Finish, Hatch] = MappingProxyType({f: _hatch(e) for f, e in _ENTRIES.items()})
