"""The log's file: recognised, opened with safe settings, migrated to the newest schema.

One SQLite file with a rollback journal. Not WAL: SQLite before 3.51.3 can corrupt a WAL database that two connections
use at once, and many machines have an older one; a small log gains nothing from WAL. ``synchronous=EXTRA`` is FULL
plus a sync of the folder once the journal is gone, so that an acknowledged entry also survives a power cut.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event
from sqlalchemy.exc import DatabaseError, OperationalError, SQLAlchemyError

from calibration.errors import LogError
from grader.log import sound
from grader.log.beside import drop, put_new, set_aside, unfinished_name
from grader.log.schema_sqlite import APPLICATION_ID, MIGRATIONS
from grader.log.sound import Rows, error_of, header_of, log_error, rows_in, trouble_in
from grader.version import __version__

_OLDEST_SQLITE = (3, 37, 0)  # STRICT tables


def check_file(path: Path, must_exist: bool) -> None:
    """Refuse a file that is not one of our logs, by its header alone: nothing is written, locked or rolled back.

    Raises:
        LogError: no such file or folder, unreadable, another kind of file, or from a newer program; or no log
            exists and backup copies lie next to its place.
    """
    try:
        if path.is_dir():
            raise LogError("log-is-folder", f"{path} is a folder, not a log.", "Name a file inside it.")
        if not path.exists() or (path.is_file() and path.stat().st_size == 0):
            _check_missing(path, must_exist)
            return
        is_file = path.is_file()
        if is_file and not os.access(path, os.R_OK):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
    except (OSError, ValueError) as error:
        raise LogError("log-unreadable", f"{path} cannot be read ({error}).", "Check its permissions.") from error
    not_ours = LogError(
        "log-not-ours",
        f"{path} is not a log of this program; it was left as it is.",
        "Choose another file for the log. If it was your log, it is damaged: restore a copy.",
    )
    if not is_file:
        raise not_ours
    try:
        application, version = header_of(path)
    except sqlite3.Error as error:
        raise not_ours from error
    if application != APPLICATION_ID:
        raise not_ours
    _check_version(path, version)


def _check_missing(path: Path, must_exist: bool) -> None:
    """Handle a missing or empty log file; backup copies may lie next to it."""
    kept = set_aside(path)
    if kept:
        names = ", ".join(str(p) for p in kept)
        raise LogError(
            "log-set-aside",
            f"There is no log at {path}, but {'a log that was' if len(kept) == 1 else 'logs that were'} set aside "
            f"{'lies' if len(kept) == 1 else 'lie'} beside it: {names}.",
            "Restore one of them, or move them to another folder before you start a new log.",
            values={"copy": kept[0], "log": path},
        )
    journal = path.with_name(f"{path.name}-journal")
    if not path.exists() and journal.exists():
        raise LogError(
            "log-journal-alone",
            f"There is no log at {path}, but its journal is there: {journal}.",
            "Move the log back beside its journal: it then repairs itself. If the log is lost, "
            "restore a copy or delete the journal.",
        )
    if must_exist:
        raise LogError("log-missing", f"There is no log at {path}.", "Start a new log, or choose another file.")
    if not path.parent.is_dir():
        raise LogError(
            "log-folder-missing",
            f"There is no folder {path.parent}.",
            "Create it, or choose another file for the log.",
        )


def _check_version(path: Path, version: int) -> None:
    if version > len(MIGRATIONS):
        raise LogError(
            "log-newer",
            f"{path} was written by a newer version of this program; it was left as it is.",
            "Update the program, or choose another file for the log.",
        )


@contextmanager
def log_errors(place: Path | str) -> Iterator[None]:
    """Convert the database's errors to ``LogError``."""
    try:
        yield
    except UnicodeDecodeError as error:  # SQLite names a damaged part of the file in its message
        raise LogError(
            "log-damaged",
            f"The log {place} is damaged.",
            "Restore its last good copy. The damaged log is kept beside it.",
        ) from error
    except SQLAlchemyError as error:
        cause = str(error.orig) if isinstance(error, DatabaseError) else str(error)
        if isinstance(error, OperationalError) and "connection" in cause:
            raise LogError(
                "log-unreachable", f"The server of {place} cannot be reached.", "Check its address and that it runs."
            ) from error
        name = getattr(error.orig, "sqlite_errorname", None) if isinstance(error, DatabaseError) else None
        raise error_of(cause, name or "", place) from error


def open_engine(path: Path) -> Engine:
    """An engine with safe settings on every connection; we control transactions, not the driver."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)), poolclass=NullPool, connect_args={"timeout": sound.BUSY_TIMEOUT_S}
    )

    @event.listens_for(engine, "connect")
    def _settings(connection: Any, _record: Any) -> None:
        connection.isolation_level = (
            None  # else the driver begins transactions late, and not at all for schema changes
        )
        for pragma in ("foreign_keys = ON", "journal_mode = DELETE", "synchronous = EXTRA"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # A writer takes its lock at once: two that first read and then write would block each other.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One writing transaction: all or nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        yield connection


def migrate(engine: Engine, path: Path, now: Callable[[], str], *, must_exist: bool = False) -> None:
    """Migrate the file to the newest schema, one recorded transaction per step, after copying an old log.

    Raises:
        LogError: a newer program migrated it first, SQLite is too old, or the file cannot be written.
    """
    if sqlite3.sqlite_version_info < _OLDEST_SQLITE:
        raise LogError(
            "log-sqlite-old",
            f"This Python's SQLite ({sqlite3.sqlite_version}) is too old for the log.",
            "Use a Python with SQLite 3.37 or newer.",
        )
    with log_errors(path):
        with engine.connect() as connection:
            version = _version(connection)
        _check_version(path, version)
        if version == 0:  # its making was broken off, or it is being made
            _check_missing(path, must_exist)
        if 0 < version < len(MIGRATIONS):
            copy_aside(engine, path, f"version-{version}")
        while version < len(MIGRATIONS):
            with writing(engine) as connection:
                version = _version(connection)  # another process may have done it meanwhile
                _check_version(path, version)
                # A new file gets all steps at once: no other process may take it for an old log.
                steps = len(MIGRATIONS) - version if version == 0 else min(1, len(MIGRATIONS) - version)
                before = _kept_rows(connection)
                for _ in range(steps):
                    version += 1
                    _apply(connection, version, now())
                after = _kept_rows(connection)
                if any(after.get(table) != count for table, count in before.items()):
                    raise LogError(
                        "log-migration-lost",
                        f"Bringing {path} to a newer version would have lost rows; it was left as it is.",
                        "Keep using the program as it was, and report this.",
                    )


def copy_whole(engine: Engine, to: Path) -> Rows:
    """Write a consistent copy of the log into a new file: sound, durable, complete or not at all.

    Returns:
        Rows of each table of the copy.

    Raises:
        LogError: ``copy-exists``; the log is damaged or locked; the copy cannot be written.
    """
    unfinished = unfinished_name(to)
    place = engine.url.database or ""
    try:
        with log_errors(place), engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None  # noqa: S101 - an open connection has one
            rows = rows_in(raw)  # what is read in one transaction is of one moment
            with closing(sqlite3.connect(unfinished, isolation_level=None)) as copy:
                raw.backup(copy, pages=1000, progress=patience(place))
                trouble = trouble_in(copy)
                if not trouble and rows_in(copy) != rows:
                    trouble = "rows are missing in the copy"
        if trouble:
            raise LogError(
                "log-damaged",
                f"The log {place} is damaged ({trouble}); it was left as it is, and no copy was written.",
                "Restore its last good copy. The damaged log is kept beside it.",
            )
        with unfinished.open("rb+") as file:
            os.fsync(file.fileno())
        put_new(unfinished, to)
    except FileExistsError as error:
        raise LogError(
            "copy-exists", f"{to} already exists; it was left as it is.", "Choose another name."
        ) from error
    except (OSError, sqlite3.Error) as error:
        if isinstance(error, sqlite3.DatabaseError) and error.sqlite_errorname in ("SQLITE_CORRUPT", "SQLITE_NOTADB"):
            raise log_error(error, place) from error
        full = getattr(error, "errno", None) == errno.ENOSPC or "full" in str(error)
        raise LogError(
            "log-copy-failed",
            f"The log cannot be copied to {to} ({error}); the log itself is as it was.",
            "Make room on that disk, or choose another." if full else "Check the disk's space and permissions.",
        ) from error
    finally:
        drop(unfinished)
    return rows


def patience(place: Path | str) -> Callable[[int, int, int], None]:
    """Callback for each step of a copy; gives up if another process keeps the log locked.

    Raises:
        LogError: ``log-busy``.
    """
    since = time.monotonic()

    def told(status: int, _remaining: int, _total: int) -> None:
        nonlocal since
        if status not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            since = time.monotonic()
        elif time.monotonic() - since > sound.BUSY_TIMEOUT_S:
            raise error_of("locked", "SQLITE_BUSY", place)

    return told


def copy_aside(engine: Engine, path: Path, ending: str) -> Path:
    """``copy_whole`` next to the log, under the first free name: path.ending, path.ending.2 and so on."""
    while True:
        to = free_name(path.with_name(f"{path.name}.{ending}"))
        try:
            copy_whole(engine, to)
        except LogError as error:
            if error.code != "copy-exists":
                raise
        else:
            return to


def free_name(path: Path) -> Path:
    """The path itself, or the first free one of path.2, path.3 and so on."""
    names = (path, *(path.with_name(f"{path.name}.{n}") for n in range(2, 10_000)))
    return next(p for p in names if not os.path.lexists(p))


def _kept_rows(connection: Connection) -> Rows:
    raw = connection.connection.driver_connection
    assert raw is not None  # noqa: S101 - an open connection has one
    return {table: count for table, count in rows_in(raw).items() if table != "migrations"}


def _version(connection: Connection) -> int:
    return int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())


def _apply(connection: Connection, version: int, now: str) -> None:
    migration = MIGRATIONS[version - 1]
    for statement in migration.statements:
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(
        "INSERT INTO migrations (version, title, program_version, applied_at) VALUES (?, ?, ?, ?)",
        (version, migration.title, __version__, now),
    )
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {version}")
