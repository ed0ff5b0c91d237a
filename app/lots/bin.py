"""Deleted lots: they stay in the bin for a while and can be taken out again."""

from __future__ import annotations

import os
import shutil
import time
from pathlib import Path

from app.lots.lot_folder import LotFolder, is_key, lots_in
from app.lots.merging import take_over

KEPT_DAYS = 30


def delete(lot: LotFolder, key: str, folder: Path, now: float | None = None) -> None:
    """Put a lot into the bin.

    Args:
        lot: the lot.
        key: of the lot.
        folder: of the bin.
        now: seconds since 1970; the present moment if left out.

    Raises:
        UsageError: as ``LotFolder.move``.
    """
    remove(key, folder)
    lot.move(folder / key)
    moment = time.time() if now is None else now
    os.utime(folder / key, (moment, moment))


def take_out(key: str, folder: Path, to: Path) -> None:
    """Put a lot back among those in progress; if a window has begun it again, merge it into that one.

    Raises:
        UsageError: as ``LotFolder.move``.
    """
    lot = LotFolder(folder / key)
    if (to / key).exists():
        take_over(LotFolder(to / key), lot)
        remove(key, folder)
    else:
        lot.move(to / key)


def in_bin(folder: Path, now: float | None = None) -> list[tuple[str, LotFolder, float]]:
    """Keys, lots, and times of deletion, the latest first; lots older than the limit are removed for good."""
    moment = time.time() if now is None else now
    found = []
    for key, lot in lots_in(folder):
        since = (folder / key).stat().st_mtime
        if moment - since > KEPT_DAYS * 86_400:
            remove(key, folder)
        else:
            found.append((key, lot, since))
    return sorted(found, key=lambda each: -each[2])


def remove(key: str, folder: Path) -> None:
    """Remove a lot in the bin, with its photos, for good."""
    if is_key(key):
        shutil.rmtree(folder / key, ignore_errors=True)


def size_mb(folder: Path) -> float:
    """Total size of all files below a folder, in MB."""
    total = 0
    for path in folder.rglob("*"):
        try:
            total += path.stat().st_size
        except OSError:  # it was removed meanwhile
            continue
    return total / 1e6
