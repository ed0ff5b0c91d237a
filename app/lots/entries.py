"""Entries as JSON, and merging of changes by several windows.

For each field, a window states its change and the value that it saw before. If another window changed another
field, both stay. If it changed the same one, the last change counts, and the replaced value is kept beside it until
somebody decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

Value = str | int | float | bool | date | None


@dataclass(frozen=True)
class Clash:
    """A field changed by two windows unaware of each other.

    Attributes:
        name: of the field.
        now: the current value.
        others: further values.
    """

    name: str
    now: Value
    others: tuple[Value, ...]


def empty_entries() -> dict[str, Any]:
    """The empty part of a file for entries."""
    return {"entries": {}, "clashes": {}}


def check_entries(kept: Mapping[str, Any]) -> None:
    """Check such a part; ``clashes`` may be missing.

    Raises:
        LookupError, TypeError, ValueError, AttributeError: it is invalid.
    """
    for name, value in kept["entries"].items():
        _check(name, value)
    for name, others in kept.get("clashes", {}).items():
        if name not in kept["entries"]:
            raise ValueError("a clash of a field that is not there")
        for value in [*others]:
            _check(name, value)


def entries_in(kept: Mapping[str, Any]) -> dict[str, Value]:
    """The entries, by field name."""
    return {name: entry_value(value) for name, value in kept["entries"].items()}


def clashes_in(kept: Mapping[str, Any]) -> tuple[Clash, ...]:
    """Fields that need a decision."""
    return tuple(
        Clash(name, entry_value(kept["entries"][name]), tuple(map(entry_value, others)))
        for name, others in kept.get("clashes", {}).items()
    )


def enter(kept: dict[str, Any], changed: Mapping[str, Value], seen: Mapping[str, Value] | None = None) -> None:
    """Apply the changes of one window.

    Args:
        kept: changed in place.
        changed: its new values, by field name.
        seen: the values it saw before; an unseen field keeps what another window entered. None: all were seen.
    """
    entries = kept["entries"]
    for name, value in changed.items():
        new, old = entry_json(value), entries.get(name)
        others = list(kept.get("clashes", {}).get(name, ()))
        if seen is not None and name in entries and new != old:
            if name not in seen:
                continue
            if old != entry_json(seen[name]) and old not in (None, ""):
                others.append(old)
        entries[name] = new
        _keep_beside(kept, name, others)


def _keep_beside(kept: dict[str, Any], name: str, values: list[Any]) -> None:
    """Keep a replaced value of a field, once, unless it equals the current one."""
    clashes = kept.setdefault("clashes", {})
    fresh = [v for n, v in enumerate(values) if v not in values[:n] and v != kept["entries"][name]]
    if fresh:
        clashes[name] = fresh
    else:
        clashes.pop(name, None)


def settle(kept: dict[str, Any], clash: Clash, value: Value) -> None:
    """Choose a field's value, unless it changed again since the clash was shown."""
    if kept["entries"].get(clash.name) == entry_json(clash.now):
        kept["entries"][clash.name] = entry_json(value)
        kept.get("clashes", {}).pop(clash.name, None)


def entry_json(value: Value) -> Any:
    """An entry as a JSON value."""
    return {"date": value.isoformat()} if isinstance(value, date) else value


def entry_value(kept: Any) -> Value:
    """The inverse of ``entry_json``."""
    return date.fromisoformat(kept["date"]) if isinstance(kept, dict) else kept


def _check(name: object, kept: Any) -> None:
    value = entry_value(kept)
    # what is not equal to itself is not a number, and would be taken for a change for ever
    if not isinstance(name, str) or not isinstance(value, str | int | float | date | None) or value != value:
        raise TypeError("no entry")
