"""The log's file: told apart from any other file, opened with safe settings, brought to the newest schema.

One SQLite file with a rollback journal. Not WAL: SQLite before 3.51.3 can corrupt a WAL database that two connections
use at once, and many machines have an older one; a small log gains nothing from WAL. ``synchronous=EXTRA`` is FULL
plus a sync of the folder once the journal is gone, so that an acknowledged entry also survives a power cut.
"""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, event
from sqlalchemy.exc import DatabaseError, OperationalError, SQLAlchemyError

from calibration.errors import LogError
from grader import __version__
from grader.log.schema import APPLICATION_ID, MIGRATIONS

BUSY_TIMEOUT_S = 30.0  # another process holds the log for milliseconds; this long means that something is stuck
_OLDEST_SQLITE = (3, 37, 0)  # STRICT tables

_HEADER_BYTES = 100
_MAGIC = b"SQLite format 3\x00"
_USER_VERSION_AT, _APPLICATION_ID_AT = 60, 68  # https://www.sqlite.org/fileformat2.html, 1.3


def check_file(path: Path, must_exist: bool) -> None:
    """Refuse what is no log of ours, by reading the header alone: SQLite, which might write, is not yet asked.

    Raises:
        LogError: no such file or folder, not readable, another kind of file, or a log of a newer program.
    """
    try:
        head = b""
        if path.is_dir():
            raise LogError("log-is-folder", f"{path} is a folder, not a log.", "Name a file inside it.")
        if path.exists():
            with path.open("rb") as file:
                head = file.read(_HEADER_BYTES)
        elif must_exist:
            raise LogError("log-missing", f"There is no log at {path}.", "Start one with: grader log new NAME.")
        elif not path.parent.is_dir():
            raise LogError(
                "log-folder-missing", f"There is no folder {path.parent}.", "Create it, or choose another."
            )
    except (OSError, ValueError) as error:
        raise LogError("log-unreadable", f"{path} cannot be read ({error}).", "Check its permissions.") from error
    if not head:  # a new or an empty file
        return
    not_ours = LogError(
        "log-not-ours", f"{path} is not a log of this program; it was left as it is.", "Name another file (--log)."
    )
    if len(head) < _HEADER_BYTES or not head.startswith(_MAGIC):
        raise not_ours
    if struct.unpack_from(">I", head, _APPLICATION_ID_AT)[0] != APPLICATION_ID:
        raise not_ours
    _check_version(path, struct.unpack_from(">I", head, _USER_VERSION_AT)[0])


def _check_version(path: Path, version: int) -> None:
    if version > len(MIGRATIONS):
        raise LogError(
            "log-newer",
            f"{path} was written by a newer version of this program; it was left as it is.",
            "Update the program, or name another file (--log).",
        )


@contextmanager
def log_errors(place: Path | str) -> Iterator[None]:
    """Turn the database's errors into ``LogError``."""
    try:
        yield
    except UnicodeDecodeError as error:  # SQLite names a damaged part of the file in its message
        raise LogError(
            "log-damaged", f"The log {place} is damaged.", "Put its last good copy in its place."
        ) from error
    except SQLAlchemyError as error:
        cause = str(error.orig) if isinstance(error, DatabaseError) else str(error)
        if "locked" in cause or "busy" in cause:
            raise LogError(
                "log-busy",
                f"Another program has kept {place} locked for {BUSY_TIMEOUT_S:.0f} s.",
                "Close it, try again.",
            ) from error
        if isinstance(error, OperationalError) and "connection" in cause:
            raise LogError(
                "log-unreachable", f"The server of {place} cannot be reached.", "Check its address and that it runs."
            ) from error
        if "malformed" in cause or "not a database" in cause:
            raise LogError(
                "log-damaged", f"The log {place} is damaged ({cause}).", "Put its last good copy in its place."
            ) from error
        raise LogError(
            "log-failed", f"The log {place} could not be used: {cause}.", "Check the disk's space and permissions."
        ) from error


def open_engine(path: Path) -> Engine:
    """An engine whose every connection has the safe settings; transactions are ours, not the driver's."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)), poolclass=NullPool, connect_args={"timeout": BUSY_TIMEOUT_S}
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
    """One transaction that writes: all of it, or nothing."""
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        yield connection


def migrate(engine: Engine, path: Path, now: Callable[[], str]) -> None:
    """Bring the file to the newest schema, one transaction a step, each with its record, after a copy of an old one.

    Raises:
        LogError: a newer program was faster, SQLite is too old, or the file cannot be written.
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
        if 0 < version < len(MIGRATIONS):
            copy_whole(engine, free_name(path.with_name(f"{path.name}.version-{version}")))
        while version < len(MIGRATIONS):
            with writing(engine) as connection:
                version = _version(connection)  # another process may have done it meanwhile
                _check_version(path, version)
                # A new file gets all steps at once: no other process may take it for an old log.
                steps = len(MIGRATIONS) - version if version == 0 else min(1, len(MIGRATIONS) - version)
                for _ in range(steps):
                    version += 1
                    _apply(connection, version, now())


def copy_whole(engine: Engine, to: Path) -> None:
    """Write the log as it is at one moment into a new file, whole or not at all."""
    unfinished = to.with_name(f"{to.name}.unfinished")
    unfinished.unlink(missing_ok=True)
    try:
        with engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert raw is not None  # noqa: S101 - an open connection has one
            with closing(sqlite3.connect(unfinished)) as copy:
                raw.backup(copy)
        with unfinished.open("rb") as file:
            os.fsync(file.fileno())
        unfinished.replace(to)
    except (OSError, sqlite3.Error) as error:
        unfinished.unlink(missing_ok=True)
        raise LogError(
            "log-copy-failed",
            f"The log cannot be copied to {to} ({error}).",
            "Check the disk's space and permissions.",
        ) from error


def free_name(path: Path) -> Path:
    """The path, or the first of path.2, path.3 … that is not taken."""
    names = (path, *(path.with_name(f"{path.name}.{n}") for n in range(2, 10_000)))
    return next(p for p in names if not p.exists())


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
