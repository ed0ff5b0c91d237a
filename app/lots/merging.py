"""Two lots that are one: the photos of one, with all measurements and corrections, go into the other."""

from __future__ import annotations

from dataclasses import replace

from app.lots.lot_folder import LotFolder, Waiting


def take_over(lot: LotFolder, other: LotFolder) -> int:
    """Let a lot take the photos of another one, with their measurements and corrections by hand.

    If both have a photo with different results, both are kept until somebody decides. Fields that are empty in the
    lot are filled in from the other, which keeps all of its own.

    Returns:
        Number of photos of the other lot.

    Raises:
        DataFileError: one of them is damaged.
        UsageError: it cannot be written to disk.
    """
    measured, own = other.measured(), lot.measured()
    photos = [*other.waiting(), *(Waiting(d.name, d.sha256, d.is_sample) for d in measured.values())]
    for photo in photos:
        data = other.photo(photo.sha256)
        if data is not None:
            lot.hand_in(photo.name, data, is_sample=photo.is_sample)
        done = measured.get(photo.sha256)
        if done is not None and own.get(photo.sha256) != done:
            lot.put(replace(done, stamp=None))
        history = other.history(photo.sha256)
        if history is not None and photo.sha256 not in own:
            lot.keep_history(photo.sha256, history)
    mine = lot.entries()
    lot.set_entries({name: value for name, value in other.entries().items() if mine.get(name) in (None, "")}, mine)
    return len(photos)
