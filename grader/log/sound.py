"""Check that a log's file is sound, and count the rows of its tables."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from calibration.errors import LogError

Rows = Mapping[str, int]

BUSY_TIMEOUT_S = 30.0  # another process holds the log for milliseconds; this long means that something is stuck


def rows_in(connection: sqlite3.Connection) -> Rows:
    """Number of rows of each table, by name."""
    tables = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT GLOB 'sqlite_*'")
    names = [str(name) for (name,) in tables.fetchall()]
    return {
        name: int(connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0])  # noqa: S608 - names of tables
        for name in names
    }


def trouble_in(connection: sqlite3.Connection) -> str:
    """Faults that SQLite finds in a file; empty if it is sound."""
    try:
        found = str(connection.execute("PRAGMA integrity_check(1)").fetchone()[0])
    except (sqlite3.Error, UnicodeDecodeError) as error:  # it quotes damaged parts of the file as they are
        return str(error)
    return "" if found == "ok" else found


def header_of(path: Path) -> tuple[int, int]:
    """Application id and schema version from the file's header.

    The file is read through SQLite, which knows its own locks: closing a file directly would drop the locks that any
    other connection of this process holds on it (https://www.sqlite.org/howtocorrupt.html, 2.2). Nothing is written,
    nothing is rolled back, and no lock is awaited.

    Raises:
        sqlite3.Error: it cannot be read, or is not a database.
    """
    with untouched(path) as connection:
        connection.execute("PRAGMA writable_schema = ON")  # a size that the header does not fit says nothing yet
        application, version = (
            int(connection.execute(f"PRAGMA {name}").fetchone()[0]) for name in ("application_id", "user_version")
        )
    return application, version


@contextmanager
def untouched(path: Path) -> Iterator[sqlite3.Connection]:
    """A connection that reads the file's bytes as they are and writes nothing anywhere."""
    place = quote(path.absolute().as_posix())
    uri = f"file:{'//' if place.startswith('/') else '///'}{place}?immutable=1"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None)
    try:
        yield connection
    finally:
        connection.close()


def log_error(error: sqlite3.Error, place: Path | str) -> LogError:
    """Convert SQLite's error to one of ours with advice."""
    return error_of(str(error), getattr(error, "sqlite_errorname", None) or "", place)


def error_of(cause: str, name: str, place: Path | str) -> LogError:
    """Our error for a database's message.

    Args:
        cause: the database's message.
        name: SQLite's name of the error, such as ``SQLITE_BUSY``; empty if unknown.
        place: the log.
    """
    kind = next((k for k in _KINDS if name.startswith(k[0]) or any(word in cause for word in k[1])), None)
    if kind is None:
        return LogError(
            "log-failed", f"The log {place} could not be used: {cause}.", "Check the disk's space and permissions."
        )
    _, _, code, message, advice = kind
    return LogError(code, message.format(place=place, cause=cause, seconds=BUSY_TIMEOUT_S), advice)


# beginnings of SQLite's names, words of its messages, code, message, advice; the first that fits counts
_KINDS: tuple[tuple[str, tuple[str, ...], str, str, str], ...] = (
    (
        "SQLITE_READONLY_DBMOVED",
        (),
        "log-moved",
        "The log {place} was moved or replaced while it was open; nothing more was written.",
        "Try again: the log that is there now will be used.",
    ),
    (
        "SQLITE_READONLY",
        ("readonly",),
        "log-read-only",
        "The log {place} cannot be written: it, its folder or its disk is read-only; nothing was changed.",
        "Make it writable, or choose another file for the log.",
    ),
    (
        "SQLITE_FULL",
        ("disk is full",),
        "log-disk-full",
        "The disk that holds {place} is full; what was logged before is safe, this was not kept.",
        "Make room on that disk, then do it again.",
    ),
    (
        "SQLITE_BUSY",
        ("locked", "busy"),
        "log-busy",
        "Another program has kept {place} locked for {seconds:.0f} s.",
        "Close it and try again.",
    ),
    (
        "SQLITE_CORRUPT",
        ("malformed",),
        "log-damaged",
        "The log {place} is damaged ({cause}).",
        "Restore its last good copy. The damaged log is kept beside it.",
    ),
    (
        "SQLITE_NOTADB",
        ("not a database",),
        "log-damaged",
        "The log {place} is damaged ({cause}).",
        "Restore its last good copy. The damaged log is kept beside it.",
    ),
)
