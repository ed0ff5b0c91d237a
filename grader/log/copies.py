"""The whole log to another file, and back."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from calibration.errors import LogError
from grader.log.store import Log, default_path
from grader.log.store_file import check_file, copy_whole, open_engine


def backup(log: Log, to: Path) -> None:
    """Write the whole log, as it is at one moment, into a new file.

    Raises:
        LogError: the file is there already, or cannot be written; the log is on a server.
    """
    if isinstance(log.path, str):
        raise LogError(
            "log-on-server", f"{log.path} lies on a server.", "Copy it with the server's own means: pg_dump."
        )
    if to.exists():
        raise LogError("copy-exists", f"{to} is there already; it was left as it is.", "Choose another name.")
    if not to.parent.is_dir():
        raise LogError("log-folder-missing", f"There is no folder {to.parent}.", "Create it, or choose another.")
    copy_whole(log.engine, to)


def restore(copy: Path, path: Path | None = None) -> Path | None:
    """Put a copy in the log's place; a log that is there is kept under another name.

    Args:
        copy: that ``backup`` wrote.
        path: of the log; None for the usual one.

    Returns:
        Where the log that was there now lies; None if there was none.

    Raises:
        LogError: the copy is no log of ours, damaged or of a newer program; then nothing is changed.
    """
    place = default_path() if path is None else path
    check_file(copy, must_exist=True)
    if copy.stat().st_size == 0 or _check(copy) != "ok":
        raise LogError("log-damaged", f"The copy {copy} is damaged; nothing was changed.", "Use another copy.")
    if place.exists() and place.samefile(copy):
        raise LogError("copy-is-log", f"{copy} is the log itself.", "Name the copy to restore.")
    if not place.parent.is_dir():
        raise LogError("log-folder-missing", f"There is no folder {place.parent}.", "Create it, or choose another.")
    fresh = place.with_name(f"{place.name}.restored")
    engine = open_engine(copy)
    copy_whole(engine, fresh)
    engine.dispose()
    kept = None
    try:
        if place.exists():
            kept = next(
                p for n in range(1, 10_000) if not (p := place.with_name(f"{place.name}.before-{n}")).exists()
            )
            place.rename(kept)
        fresh.replace(place)
    except OSError as error:
        raise LogError(
            "log-copy-failed", f"The log cannot be put at {place} ({error}).", f"It lies whole at {fresh}."
        ) from error
    return kept


def _check(copy: Path) -> str:
    try:
        with closing(sqlite3.connect(copy)) as connection:
            return str(connection.execute("PRAGMA integrity_check").fetchone()[0])
    except (sqlite3.Error, UnicodeDecodeError) as error:  # SQLite names a damaged part of the file in its message
        return str(error)
