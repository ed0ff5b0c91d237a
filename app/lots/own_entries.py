"""Personal entries, not tied to a lot: units, costs, the gold price. They are kept for every lot."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from app.lots.entries import Clash, Value, check_entries, clashes_in, empty_entries, enter, entries_in, settle
from app.lots.process_lock import ProcessLock
from app.lots.shared_json import Json, SharedJson
from calibration.errors import DataFileError

_SCHEMA = 2


class OwnEntries:
    """The file of such entries; a damaged one is put aside, because its contents are quickly entered again."""

    def __init__(self, path: Path) -> None:
        self._file = SharedJson(path, ProcessLock(path.with_name(f".{path.name}.lock")), _empty, _check)

    @property
    def changed_at(self) -> float:
        """When it last changed, seconds since 1970; 0 if there is nothing yet."""
        return self._file.changed_at

    def entries(self) -> dict[str, Value]:
        """The entries, by field name."""
        return entries_in(_sorted_out(self._read()))

    def clashes(self) -> tuple[Clash, ...]:
        """Fields that need a decision."""
        return clashes_in(_sorted_out(self._read()))

    def enter(self, changed: Mapping[str, Value], seen: Mapping[str, Value] | None = None) -> None:
        """Apply changes of a window that saw earlier values; see ``entries.enter``.

        Raises:
            UsageError: the file cannot be written.
        """
        self._read()
        self._change(lambda kept: enter(kept, changed, seen))

    def settle(self, clash: Clash, value: Value) -> None:
        """Decide the value of a field."""
        self._change(lambda kept: settle(kept, clash, value))

    def _change(self, change: Callable[[Json], None]) -> None:
        def on_what_is_written_now(kept: Json) -> None:
            fresh = dict(_sorted_out(kept))
            kept.clear()
            kept.update(fresh)
            change(kept)

        self._file.change(on_what_is_written_now)

    def _read(self) -> Json:
        try:
            return self._file.read()
        except DataFileError:
            self._file.put_aside()
            return _empty()


def _empty() -> Json:
    return {"schema": _SCHEMA, **empty_entries()}


def _check(kept: Json) -> None:
    check_entries(_sorted_out(kept))


def _sorted_out(kept: Json) -> Json:
    """The file in its present form; earlier files held only entries."""
    return kept if kept.get("schema") == _SCHEMA else {**_empty(), "entries": dict(kept)}
