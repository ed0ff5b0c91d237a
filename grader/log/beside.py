"""Files beside a log: copies that were set aside, those of a broken-off copy, and how a new one gets its name."""

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
    """Whole logs that were kept beside a log's place, the newest first."""
    return _beside(place, _SET_ASIDE)


def left_over(place: Path) -> tuple[Path, ...]:
    """Whole and unfinished copies beside a log's place, the newest first."""
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
    """Where a file is written until it is whole; no other process takes the same."""
    return to.with_name(f"{to.name}.{secrets.token_hex(4)}{UNFINISHED}")


def put_new(unfinished: Path, to: Path) -> None:
    """Give a finished file its name, durably, if nothing has that name.

    Raises:
        FileExistsError: something has it; the finished file stays where it is.
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
    """Bring a folder's names to the disk, where the system can do that."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def drop(unfinished: Path) -> None:
    """Remove an unfinished file and what SQLite may have left beside it; a disk that refuses is left alone."""
    for ending in ("", *SIDECARS):
        with suppress(OSError):
            unfinished.with_name(f"{unfinished.name}{ending}").unlink(missing_ok=True)
