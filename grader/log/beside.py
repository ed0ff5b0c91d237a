"""Files next to a log: backup copies, unfinished copies, and names for new ones."""

from __future__ import annotations

import os
import re
import secrets
from contextlib import suppress
from pathlib import Path

UNFINISHED = ".unfinished"
_SET_ASIDE = re.compile(r"\.(before-\d+|restored|version-\d+(\.\d+)?)")
_ANY = re.compile(rf"{_SET_ASIDE.pattern}(\.[0-9a-f]{{8}})?({re.escape(UNFINISHED)})?")
SIDECARS = ("-journal", "-wal", "-shm")


def set_aside(place: Path) -> tuple[Path, ...]:
    """Complete logs kept next to a log, newest first."""
    return _beside(place, _SET_ASIDE)


def left_over(place: Path) -> tuple[Path, ...]:
    """Complete and unfinished copies next to a log, newest first."""
    return _beside(place, _ANY)


def _beside(place: Path, ending: re.Pattern[str]) -> tuple[Path, ...]:
    real = place.resolve()
    try:
        found = [
            p
            for p in real.parent.iterdir()
            if p.name.startswith(real.name) and ending.fullmatch(p.name[len(real.name) :])
        ]
        return tuple(sorted(found, key=lambda p: (p.stat().st_mtime_ns, p.name), reverse=True))
    except OSError:
        return ()


def unfinished_name(to: Path) -> Path:
    """Path for a file while it is being written; unique to this process."""
    return to.with_name(f"{to.name}.{secrets.token_hex(4)}{UNFINISHED}")


def put_new(unfinished: Path, to: Path) -> None:
    """Rename a finished file durably, unless the name is taken.

    Raises:
        FileExistsError: the name is taken; the finished file stays where it is.
        OSError: the folder cannot be written to.
    """
    try:
        os.link(unfinished, to)
    except FileExistsError:
        raise
    except OSError:  # a disk without hard links
        if os.path.lexists(to):
            raise FileExistsError(str(to)) from None
        unfinished.rename(to)
    else:
        unfinished.unlink()
    sync_folder(to.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder to disk, if the system supports it."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def drop(unfinished: Path) -> None:
    """Remove an unfinished file and SQLite's files next to it; errors of the disk are ignored."""
    for ending in ("", *SIDECARS):
        with suppress(OSError):
            unfinished.with_name(f"{unfinished.name}{ending}").unlink(missing_ok=True)
