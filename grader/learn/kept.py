"""Cache draws of the latest beliefs, so that learning from the same yields is not repeated."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief import Batch, Belief, learn
from calibration.belief.learn import identity, remembered
from calibration.errors import GraderError
from calibration.files import write_whole

_MOST = 8  # beliefs that are kept
_MOST_BYTES = 200_000_000  # of one: a thousand draws of more unknowns than any log has


def kept_or_learned(batches: Sequence[Batch], process: int, folder: Path) -> Belief:
    """The belief from these batches: from the cache, otherwise learned now and cached.

    The name of a kept file is the belief's id, which changes with the batches, the process, the priors and the
    method. A file that cannot be read, or written, costs the time of learning and no more.
    """
    place = folder / f"{identity(batches, process)}.npy"
    draws = _read(place)
    if draws is not None:
        found = remembered(batches, draws, process=process)
        if found is not None:
            return found
    found = learn(batches, process=process)
    _write(place, found.draws)
    return found


def _read(place: Path) -> FloatArray | None:
    try:
        if place.stat().st_size > _MOST_BYTES:
            return None
        return np.asarray(np.load(io.BytesIO(place.read_bytes()), allow_pickle=False))
    except (OSError, ValueError, EOFError, MemoryError):
        return None


def _write(place: Path, draws: FloatArray) -> None:
    written = io.BytesIO()
    np.save(written, draws, allow_pickle=False)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, written.getvalue())
        others = sorted(place.parent.glob("*.npy"), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in others[_MOST:]:
            old.unlink(missing_ok=True)
    except (OSError, GraderError):
        return
