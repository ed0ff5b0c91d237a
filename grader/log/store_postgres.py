"""A log on a PostgreSQL server, for a team: the same tables, rules and answers as in a file."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, make_url
from sqlalchemy.exc import ArgumentError

from calibration.errors import LogError, UsageError
from calibration.files import write_whole
from grader.log.schema_postgres import MIGRATIONS
from grader.log.store_file import free_name, log_errors
from grader.places import data_folder
from grader.version import __version__

SCHEMES = ("postgresql://", "postgres://")
_LOCK = 0x42474C31  # of migrations; any number that no other program is likely to take


def is_url(place: object) -> bool:
    """Whether a log is the URL of a server."""
    return str(place).startswith(SCHEMES)


def shown(url: str) -> str:
    """The URL without its password."""
    return _parsed(url).render_as_string(hide_password=True)


def open_server(url: str, must_exist: bool, now: Callable[[], str]) -> Engine:
    """An engine for the log on a server, migrated to the newest schema after copying an old log to a file.

    Raises:
        LogError: no driver, no server, no log, another program's database, a log from a newer program, or no
            room for the copy.
    """
    parsed = _parsed(url).set(drivername="postgresql+psycopg")
    try:
        # what is read in one call is of one moment
        engine = create_engine(parsed, poolclass=NullPool, isolation_level="REPEATABLE READ")
    except ImportError as error:
        raise LogError(
            "log-driver-missing",
            "PostgreSQL's driver is not installed.",
            "Install it: pip install 'psycopg[binary]'.",
        ) from error
    place = shown(url)
    with log_errors(place), engine.connect() as c:
        version = _version(c, place)
    if version == 0 and must_exist:
        raise LogError("log-missing", f"There is no log at {place}.", "Start a new log, or choose another file.")
    if version < len(MIGRATIONS):
        _migrate(engine, place, now)
    return engine


def _migrate(engine: Engine, place: str, now: Callable[[], str]) -> None:
    # READ COMMITTED: after waiting for the lock, what another program did meanwhile must be seen
    with (
        log_errors(place),
        engine.connect().execution_options(isolation_level="READ COMMITTED") as c,
        c.begin(),
    ):
        c.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
        done = _version(c, place)
        if 0 < done < len(MIGRATIONS):
            _copy_whole(c, free_name(data_folder() / f"{_file_name(c)}.version-{done}.json"))
        for version in range(done + 1, len(MIGRATIONS) + 1):
            migration = MIGRATIONS[version - 1]
            for statement in migration.statements:
                c.exec_driver_sql(statement)
            c.exec_driver_sql(
                "INSERT INTO migrations (version, title, program_version, applied_at) VALUES (%s, %s, %s, %s)",
                (version, migration.title, __version__, now()),
            )


def _copy_whole(c: Connection, to: Path) -> None:
    """Write every row of every table to a new JSON file: tables in order of creation, columns by name.

    The log is locked until the transaction ends, so that the migration starts from exactly this copy.
    ``json_populate_recordset`` puts rows back into tables of that version.
    """
    names = [
        str(name)
        for (name,) in c.exec_driver_sql(
            "SELECT c.relname FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace"
            " WHERE c.relkind = 'r' AND n.nspname = current_schema() ORDER BY c.oid"
        )
    ]
    c.exec_driver_sql(f"LOCK TABLE {', '.join(names)} IN SHARE ROW EXCLUSIVE MODE")
    tables = {
        name: [row for (row,) in c.exec_driver_sql(f"SELECT row_to_json(t) FROM {name} t")]  # noqa: S608 - ours
        for name in names
    }
    document = json.dumps({"program_version": __version__, "tables": tables}, ensure_ascii=False, allow_nan=False)
    try:
        to.parent.mkdir(parents=True, exist_ok=True)
        write_whole(to, document.encode() + b"\n")
    except (OSError, UsageError) as error:
        raise LogError(
            "log-copy-failed",
            f"The log on the server cannot be copied to {to} ({error}); it was left as it is.",
            "Make room there: a log is copied before it is brought to a newer version.",
        ) from error


def _file_name(c: Connection) -> str:
    database = c.exec_driver_sql("SELECT current_database()").scalar_one()
    return f"server-log-{re.sub(r'[^0-9A-Za-z_-]+', '-', str(database))}"


def _version(c: Connection, place: str) -> int:
    """Number of migrations applied; 0 for an empty database."""
    if c.exec_driver_sql("SELECT to_regclass('migrations')").scalar_one() is None:
        others = c.exec_driver_sql(
            "SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema()"
        ).scalar_one()
        if others:
            raise LogError(
                "log-not-ours",
                f"{place} holds tables of another program.",
                "Name an empty database for the log.",
                remedy="log-empty-database",
            )
        return 0
    version = int(c.exec_driver_sql("SELECT max(version) FROM migrations").scalar_one() or 0)
    if version > len(MIGRATIONS):
        raise LogError(
            "log-newer",
            f"{place} was written by a newer version of this program; it was left as it is.",
            "Update the program, or choose another file for the log.",
        )
    return version


def _parsed(url: str) -> URL:
    try:
        return make_url(url.replace("postgres://", "postgresql://", 1) if url.startswith("postgres://") else url)
    except (ArgumentError, ValueError) as error:
        raise LogError(
            "log-url", "The log's URL cannot be read.", "Write it as postgresql://user@host/database."
        ) from error
