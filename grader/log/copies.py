"""Back up the log to another file, and restore it.

A log is restored by SQLite's own backup into the existing file. So the file never leaves its place, a journal
left by a killed writer is rolled back into its own file, and other programs that have the log open
wait and continue in the restored log. The old log is copied byte for byte while nobody else can write.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from calibration.errors import LogError
from grader.log import sound
from grader.log.beside import SIDECARS, drop, left_over, put_new, sync_folder, unfinished_name
from grader.log.schema_sqlite import APPLICATION_ID
from grader.log.sound import Rows, header_of, log_error, rows_in, trouble_in, untouched
from grader.log.store import Log, default_path
from grader.log.store_file import check_file, copy_whole, patience

_NO_DATABASE = ("SQLITE_NOTADB", "SQLITE_CORRUPT")


@dataclass(frozen=True)
class Restored:
    """The result of a restore.

    Attributes:
        place: of the log.
        rows: number in each table of the copy, all of them now in the log.
        kept: new path of the old log; None if there was none.
        kept_trouble: fault of the old log; empty if it is sound.
    """

    place: Path
    rows: Rows
    kept: Path | None
    kept_trouble: str = ""


def backup(log: Log, to: Path) -> Rows:
    """Write a consistent copy of the whole log into a new file, and check it.

    Returns:
        Rows of each table of the copy.

    Raises:
        LogError: the file exists or cannot be written; the log is damaged, or on a server.
    """
    if isinstance(log.path, str):
        raise LogError(
            "log-on-server", f"{log.path} is on a server.", "Copy it with the server's own tools, such as pg_dump."
        )
    if os.path.lexists(to):
        raise LogError("copy-exists", f"{to} already exists; it was left as it is.", "Choose another name.")
    if not to.parent.is_dir():
        raise LogError(
            "log-folder-missing",
            f"There is no folder {to.parent}.",
            "Create it, or choose another.",
            remedy="copy-elsewhere",
        )
    return copy_whole(log.engine, to)


def restore(copy: Path, path: Path | None = None) -> Restored:
    """Restore a copy as the log; an existing log is kept under another name.

    If the program is killed at any moment, the log is either the old one or the new one, complete.

    Args:
        copy: written by ``backup``.
        path: of the log; None for the default log.

    Raises:
        LogError: the copy is not one of our logs, is damaged or from a newer program; the log is locked, or cannot be
            written. The log is then as it was.
    """
    named = default_path() if path is None else path
    place = named.resolve()
    if not copy.exists():
        raise _no_copy(copy, place)
    check_file(copy, must_exist=True)
    if place.is_dir():
        raise LogError("log-is-folder", f"{place} is a folder, not a log.", "Name a file inside it.")
    if place.exists() and not place.is_file():
        raise LogError(
            "log-not-ours",
            f"{place} is not a file; it was left as it is.",
            "Choose another file for the log.",
            remedy="log-other-file",
        )
    if place.exists() and place.samefile(copy):
        raise LogError("copy-is-log", f"{copy} is the log itself.", "Name the copy to restore.")
    if not place.parent.is_dir():
        raise LogError(
            "log-folder-missing",
            f"There is no folder {place.parent}.",
            "Create it, or choose another file for the log.",
        )
    _refuse_foreign(place)
    with _sound(copy) as (source, rows):
        kept = _put(source, place)
    _verify(place, rows, copy, kept)
    return Restored(place, rows, kept, "" if kept is None else _trouble_of(kept))


def _no_copy(copy: Path, place: Path) -> LogError:
    missing = f"There is no copy at {copy}; nothing was changed."
    found = left_over(place)
    if found:
        beside = f"These lie beside the log: {', '.join(map(str, found))}."
        return LogError("copy-missing", missing, beside, remedy="copies-beside-log")
    return LogError("copy-missing", missing, "Name a copy that was written as a backup.")


def _refuse_foreign(place: Path) -> None:
    """Refuse to overwrite another program's database; a damaged file is kept and replaced."""
    try:
        application = header_of(place)[0] if place.exists() and place.stat().st_size else APPLICATION_ID
    except sqlite3.Error:
        return
    if application != APPLICATION_ID:
        raise LogError(
            "log-not-ours",
            f"{place} is not a log of this program; it was left as it is.",
            "Choose another file for the log.",
            remedy="log-other-file",
        )


@contextmanager
def _sound(copy: Path) -> Iterator[tuple[sqlite3.Connection, Rows]]:
    """Open a sound copy in its present state, with its row counts."""
    with closing(sqlite3.connect(copy, timeout=sound.BUSY_TIMEOUT_S, isolation_level=None)) as source:
        try:
            source.execute("BEGIN")
            trouble = trouble_in(source)
            rows = {} if trouble else rows_in(source)
        except sqlite3.Error as error:
            raise log_error(error, copy) from error
        if trouble or "migrations" not in rows:
            raise LogError(
                "log-damaged",
                f"The copy {copy} is damaged ({trouble or 'its tables are missing'}); nothing was changed.",
                "Use another copy.",
                remedy="copy-other",
            )
        yield source, rows


def _put(source: sqlite3.Connection, place: Path) -> Path | None:
    """Install a sound log, through SQLite or, if no database is there, by renaming."""
    keeper = _Keeper(place)
    try:
        with ExitStack() as stack:
            if place.exists():
                # Closed last: closing it drops this process's locks on the file.
                keeper.old = stack.enter_context(place.open("rb"))
            else:
                _keep_stale_sidecars(place)
            _write_into(source, place, keeper.keep)
    except sqlite3.Error as error:
        if getattr(error, "sqlite_errorname", "") not in _NO_DATABASE or keeper.kept is not None:
            raise _failed(log_error(error, place), keeper) from error
        try:
            _replace(source, place, keeper)
        except (OSError, sqlite3.Error) as second:
            raise _failed(_cannot(place, second), keeper) from second
    except OSError as error:
        raise _failed(_cannot(place, error), keeper) from error
    except LogError as error:
        raise _failed(error, keeper) from error
    return keeper.kept


def _write_into(source: sqlite3.Connection, place: Path, keep: Callable[[], None]) -> None:
    """Run SQLite's backup into the live file: one transaction under an exclusive lock, rolled back if interrupted."""
    with closing(sqlite3.connect(place, timeout=sound.BUSY_TIMEOUT_S, isolation_level=None)) as log:
        mode = log.execute("PRAGMA journal_mode = DELETE").fetchone()[0]  # a hot journal is rolled back here
        if mode != "delete":
            raise sound.error_of("locked", "SQLITE_BUSY", place)
        log.execute("PRAGMA synchronous = EXTRA")
        waits = patience(place)
        locked = False

        def told(status: int, remaining: int, total: int) -> None:
            nonlocal locked
            waits(status, remaining, total)
            # After the first page the file is locked, and nothing of it is changed on the disk yet.
            if not locked and status == sqlite3.SQLITE_OK:
                locked = True
                keep()

        source.backup(log, pages=1, progress=told)


class _Keeper:
    """Keeps the old log, byte for byte, under the first free name."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.old: IO[bytes] | None = None
        self.kept: Path | None = None

    def keep(self) -> None:
        """Copy the existing file, if any; it must be locked."""
        if self.old is None or os.fstat(self.old.fileno()).st_size == 0:
            return
        first = self.place.with_name(f"{self.place.name}.before-1")
        unfinished = unfinished_name(first)
        try:
            with unfinished.open("xb") as file:
                self.old.seek(0)
                shutil.copyfileobj(self.old, file, 1 << 20)
                file.flush()
                os.fsync(file.fileno())
            shutil.copymode(self.place, unfinished)
            self.kept = _put_numbered(unfinished, self.place)
        finally:
            drop(unfinished)


def _put_numbered(unfinished: Path, place: Path) -> Path:
    for number in range(1, 100_000):
        to = place.with_name(f"{place.name}.before-{number}")
        try:
            put_new(unfinished, to)
        except FileExistsError:
            continue
        return to
    raise FileExistsError(f"{place}.before-…")


def _keep_stale_sidecars(place: Path) -> None:
    """Keep a journal without its log before SQLite removes it: it belongs to a log that was moved."""
    for ending in SIDECARS[:2]:
        stale = place.with_name(f"{place.name}{ending}")
        if stale.exists():
            with stale.open("rb") as old:
                keeper = _Keeper(stale)
                keeper.old = old
                keeper.keep()


def _replace(source: sqlite3.Connection, place: Path, keeper: _Keeper) -> None:
    """Replace a file that SQLite cannot open, so no program can be using it."""
    fresh = unfinished_name(place.with_name(f"{place.name}.restored"))
    try:
        with closing(sqlite3.connect(fresh, isolation_level=None)) as new:
            source.backup(new)
        with fresh.open("rb+") as file:
            os.fsync(file.fileno())
        with place.open("rb") as old:
            keeper.old = old
            keeper.keep()
        for ending in SIDECARS:  # they belong to what is kept
            its = place.with_name(f"{place.name}{ending}")
            if keeper.kept is not None and its.exists():
                its.rename(keeper.kept.with_name(f"{keeper.kept.name}{ending}"))
        fresh.replace(place)
        sync_folder(place.parent)
    finally:
        drop(fresh)


def _verify(place: Path, rows: Rows, copy: Path, kept: Path | None) -> None:
    """Check that the log is sound and holds every row of the copy; others may have added some since."""
    try:
        with closing(sqlite3.connect(place, timeout=sound.BUSY_TIMEOUT_S, isolation_level=None)) as log:
            log.execute("BEGIN")
            trouble, found = trouble_in(log), rows_in(log)
    except sqlite3.Error as error:
        trouble, found = str(error), {}
    if not trouble and any(found.get(table, 0) < count for table, count in rows.items()):
        trouble = "rows are missing"
    if trouble:
        was = "" if kept is None else f" The log that was there is {kept}."
        raise LogError(
            "log-damaged",
            f"The log at {place} does not match what was restored from {copy} ({trouble}).{was}",
            "Check the disk, then restore the copy to another place.",
            remedy="log-restore-elsewhere",
        )


def _trouble_of(kept: Path) -> str:
    try:
        with untouched(kept) as connection:
            return trouble_in(connection)
    except sqlite3.Error as error:
        return str(error)


def _cannot(place: Path, error: OSError | sqlite3.Error) -> LogError:
    if isinstance(error, sqlite3.Error):
        return log_error(error, place)
    return LogError(
        "log-copy-failed",
        f"The log cannot be put at {place} ({error.strerror or error}).",
        "Check the disk's space and permissions; the copy is as it was.",
    )


def _failed(error: LogError, keeper: _Keeper) -> LogError:
    """The error, with the state of the existing log."""
    if keeper.old is None:
        return error
    also = "" if keeper.kept is None else f" A copy of it is {keeper.kept}."
    return LogError.of(error, f"{error.message} The log that is there was left as it was.{also}")
