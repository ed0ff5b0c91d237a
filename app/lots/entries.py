"""What was filled in, as JSON, and how changes of several windows go together.

A window says for each field what it changes and what it saw there before. Where another window has changed another
field, both stay. Where it changed the same one, the last word stands, and what it replaced is kept beside it until
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
    """A field that two windows changed without having seen each other's change.

    Attributes:
        name: of the field.
        now: what it holds.
        others: what else was entered.
    """

    name: str
    now: Value
    others: tuple[Value, ...]


def empty_entries() -> dict[str, Any]:
    """The part of a file that holds entries, before there are any."""
    return {"entries": {}, "clashes": {}}


def check_entries(kept: Mapping[str, Any]) -> None:
    """Whether such a part holds what it must; ``clashes`` may be left out.

    Raises:
        LookupError, TypeError, ValueError, AttributeError: it does not.
    """
    for name, value in kept["entries"].items():
        _check(name, value)
    for name, others in kept.get("clashes", {}).items():
        if name not in kept["entries"]:
            raise ValueError("a clash of a field that is not there")
        for value in [*others]:
            _check(name, value)


def entries_in(kept: Mapping[str, Any]) -> dict[str, Value]:
    """What was entered, by the fields' names."""
    return {name: entry_value(value) for name, value in kept["entries"].items()}


def clashes_in(kept: Mapping[str, Any]) -> tuple[Clash, ...]:
    """Fields about which somebody has to decide."""
    return tuple(
        Clash(name, entry_value(kept["entries"][name]), tuple(map(entry_value, others)))
        for name, others in kept.get("clashes", {}).items()
    )


def enter(kept: dict[str, Any], changed: Mapping[str, Value], seen: Mapping[str, Value] | None = None) -> None:
    """Take changes of one window.

    Args:
        kept: changed in place.
        changed: what it says, by the fields' names.
        seen: what it saw before; a field that it had not seen keeps what another window entered. None: it knows all.
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
    """What else was entered in a field: each value once, and not what it holds."""
    clashes = kept.setdefault("clashes", {})
    fresh = [v for n, v in enumerate(values) if v not in values[:n] and v != kept["entries"][name]]
    if fresh:
        clashes[name] = fresh
    else:
        clashes.pop(name, None)


def settle(kept: dict[str, Any], clash: Clash, value: Value) -> None:
    """Decide what a field holds; where it was changed once more since the clash was shown, nothing is decided."""
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
