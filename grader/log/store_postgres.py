"""A log on a PostgreSQL server, for a team: the same tables, rules and answers as in a file."""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import URL, Connection, Engine, NullPool, create_engine, make_url
from sqlalchemy.exc import ArgumentError

from calibration.errors import LogError
from grader import __version__
from grader.log.schema_postgres import MIGRATIONS
from grader.log.store_file import log_errors

SCHEMES = ("postgresql://", "postgres://")
_LOCK = 0x42474C31  # of migrations; any number that no other program is likely to take


def is_url(place: object) -> bool:
    """Whether a log is named by the URL of a server."""
    return str(place).startswith(SCHEMES)


def shown(url: str) -> str:
    """The URL without its password."""
    return _parsed(url).render_as_string(hide_password=True)


def open_server(url: str, must_exist: bool, now: Callable[[], str]) -> Engine:
    """An engine of the log on a server, brought to the newest schema.

    Raises:
        LogError: no driver, no server, no log there, a database of something else, or a log of a newer program.
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
        raise LogError("log-missing", f"There is no log at {place}.", "Start one with: grader log new NAME.")
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
        for version in range(_version(c, place) + 1, len(MIGRATIONS) + 1):
            migration = MIGRATIONS[version - 1]
            for statement in migration.statements:
                c.exec_driver_sql(statement)
            c.exec_driver_sql(
                "INSERT INTO migrations (version, title, program_version, applied_at) VALUES (%s, %s, %s, %s)",
                (version, migration.title, __version__, now()),
            )


def _version(c: Connection, place: str) -> int:
    """How many migrations the log has had; 0 where the database is empty."""
    if c.exec_driver_sql("SELECT to_regclass('migrations')").scalar_one() is None:
        others = c.exec_driver_sql(
            "SELECT count(*) FROM information_schema.tables WHERE table_schema = current_schema()"
        ).scalar_one()
        if others:
            raise LogError(
                "log-not-ours", f"{place} holds tables of something else.", "Name an empty database for the log."
            )
        return 0
    version = int(c.exec_driver_sql("SELECT max(version) FROM migrations").scalar_one() or 0)
    if version > len(MIGRATIONS):
        raise LogError(
            "log-newer",
            f"{place} was written by a newer version of this program; it was left as it is.",
            "Update the program, or name another log (--log).",
        )
    return version


def _parsed(url: str) -> URL:
    try:
        return make_url(url.replace("postgres://", "postgresql://", 1) if url.startswith("postgres://") else url)
    except (ArgumentError, ValueError) as error:
        raise LogError(
            "log-url", "The log's URL cannot be read.", "Write it as postgresql://user@host/database."
        ) from error
