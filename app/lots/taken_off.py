"""Photos that were taken off a lot: they are kept aside with their corrections, and may come back for a while."""

from __future__ import annotations

import json
import time
from pathlib import Path

from app.lots.lot_folder import LotFolder, is_sha256, lots_in
from app.lots.shared_json import UNSOUND, loads, put_file

_ENTRY = ".entry"
_DAY_S = 86_400


def lay_aside(lot: LotFolder, sha256: str) -> None:
    """Take a photo off a lot, with its measurement and its corrections by hand.

    Raises:
        DataFileError, UsageError: as everything that changes a lot.
    """
    entry = lot.release(sha256, _aside(lot))
    if entry is not None:
        put_file(_aside(lot) / f"{sha256}{_ENTRY}", json.dumps(entry).encode())


def put_back(lot: LotFolder, sha256: str) -> None:
    """Put back a photo that was taken off; a photo that was added again meanwhile stays as it is.

    Raises:
        DataFileError, UsageError: as everything that changes a lot.
    """
    place = _aside(lot) / f"{sha256}{_ENTRY}"
    try:
        entry = loads(place.read_bytes())
    except (OSError, *UNSOUND):
        return
    place.unlink(missing_ok=True)
    lot.take_back(entry, _aside(lot))


def clear_old(folder: Path, days: float, now: float | None = None) -> None:
    """Remove for good the photos that were taken off the lots in a folder that many days ago."""
    moment = time.time() if now is None else now
    for _, lot in lots_in(folder):
        for place in _aside(lot).glob(f"*{_ENTRY}"):
            if is_sha256(place.stem) and moment - place.stat().st_mtime > days * _DAY_S:
                for path in _aside(lot).glob(f"{place.stem}*"):
                    path.unlink(missing_ok=True)


def _aside(lot: LotFolder) -> Path:
    return lot.folder / "off"
