"""One list of all lots, in the log or only in progress."""

from __future__ import annotations

from dataclasses import dataclass

from app.lots.bin import delete, in_bin, take_out
from app.lots.desk import NAMELESS, bin_folder, current_lot, day_words, desk, lot_key, start_lot, take_up
from app.lots.keep import all_lots, bind, chosen_log, logged_lot, number_in_log, write_log
from app.lots.lot_folder import LotFolder, lots_in, new_key
from app.lots.merging import take_over
from app.lots.moving import Moved, move_back, move_entries
from calibration.errors import DataFileError
from grader.log import LoggedLot, open_log


@dataclass(frozen=True)
class ListedLot:
    """One lot.

    Attributes:
        name: of it.
        key: of its folder; None if it is only in the log.
        logged: its entry in the log; None if not kept yet.
        photo_count: photos on this machine.
        changed: when, in words.
        is_archived: whether it was put away.
        is_damaged: whether its file cannot be read.
    """

    name: str
    key: str | None
    logged: LoggedLot | None
    photo_count: int
    changed: str
    is_archived: bool
    is_damaged: bool = False

    @property
    def mark(self) -> str:
        """Unique part of this lot in the keys of fields."""
        return self.key if self.key is not None else f"log-{self.logged.id if self.logged else 0}"

    @property
    def folder(self) -> LotFolder | None:
        """Its files."""
        return None if self.key is None else desk().lot(self.key)


def listed_lots() -> list[ListedLot]:
    """All lots, the last changed first; those that are only in the log come last."""
    in_log = {lot.id: lot for lot in all_lots()}
    found = [_begun(key, lot, in_log) for key, lot in lots_in(desk().folder)]
    there = {each.logged.id for each in found if each.logged is not None}
    there |= {number for number in (_number(lot) for _, lot, _ in in_bin(bin_folder())) if number is not None}
    found += [
        ListedLot(lot.name, None, lot, 0, f"{lot.created_at.date().isoformat()}", lot.archived)
        for number, lot in in_log.items()
        if number not in there
    ]
    return found


def _begun(key: str, lot: LotFolder, in_log: dict[int, LoggedLot]) -> ListedLot:
    changed = day_words(lot.changed_at)
    try:
        number = number_in_log(lot)
        logged = in_log.get(number) if number is not None else None
        name = str(lot.entries().get("lot-name") or "").strip() or (logged.name if logged else NAMELESS)
        archived = bool(lot.facts().get("archived"))
        return ListedLot(name, key, logged, lot.photo_count, changed, archived)
    except DataFileError:
        return ListedLot("A lot whose file is damaged", key, None, 0, changed, is_archived=False, is_damaged=True)


def open_lot(lot: ListedLot) -> None:
    """Open the lot in this window.

    Raises:
        UsageError: it cannot be written to disk.
    """
    key = _begin_folder(lot) if lot.key is None and lot.logged is not None else lot.key
    if key is not None and key != lot_key():
        take_up(key)


def archive(lot: ListedLot, *, archived: bool) -> None:
    """Put a lot away, or bring it back.

    Raises:
        UsageError, DataFileError: it cannot be written to disk; its file is damaged.
    """
    if lot.folder is not None:
        lot.folder.set_facts(archived=archived)
    logged = lot.logged
    if logged is not None:
        write_log(lambda log: _put_away(log.change_lot(logged.id, logged.as_new(), archived=archived)))


def _put_away(lot: LoggedLot) -> str:
    return f"Lot {lot.name} is {'put away' if lot.archived else 'back in the list'}."


def delete_lot(lot: ListedLot) -> None:
    """Move a lot's photos and entries to the bin; in the log the lot is archived.

    Raises:
        UsageError: the files cannot be moved.
    """
    if lot.key is None or lot.folder is None:
        return
    if lot.key == lot_key():
        start_lot()
    delete(lot.folder, lot.key, bin_folder())
    logged = lot.logged
    if logged is not None and not logged.archived:
        write_log(lambda log: _put_away(log.change_lot(logged.id, logged.as_new(), archived=True)))


def undelete(key: str) -> None:
    """Take a lot out of the bin and open it.

    Raises:
        UsageError, DataFileError: the files cannot be moved; the lot is damaged.
    """
    take_out(key, bin_folder(), desk().folder)
    take_up(key)
    _move_back(desk().lot(key))
    number = _number(desk().lot(key))
    logged = next((lot for lot in all_lots() if lot.id == number), None)
    if logged is not None and logged.archived:
        write_log(lambda log: _put_away(log.change_lot(logged.id, logged.as_new(), archived=False)))


def _move_back(folder: LotFolder) -> None:
    """Give a lot back its entries in the log, which went to another lot when the two were merged."""
    kept = folder.facts().get("moved")
    if kept is not None:
        with open_log(chosen_log()) as log:
            move_back(log, Moved.from_json(kept))
        folder.set_facts(moved=None)


def _number(lot: LotFolder) -> int | None:
    try:
        return number_in_log(lot)
    except DataFileError:
        return None


def merge_into_this(other: ListedLot) -> tuple[int, int]:
    """Merge another lot into this window's lot; the other one goes to the bin.

    Returns:
        Number of photos, and of entries of the log, that were moved.

    Raises:
        UsageError: as ``move_entries``; it cannot be written to disk.
        DataFileError: one of them is damaged.
    """
    here = current_lot()
    mine = logged_lot()
    key = other.key
    if key is None:
        key = _begin_folder(other)
    folder, theirs = desk().lot(key), other.logged
    entries = 0
    if mine is not None and theirs is not None and theirs.id != mine.id:
        with open_log(chosen_log()) as log:
            moved = move_entries(log, theirs, mine)
            log.change_lot(theirs.id, theirs.as_new(), archived=True)
        folder.set_facts(moved=moved.as_json())
        entries = moved.count
    count = take_over(here, folder)
    if mine is None and theirs is not None:
        bind(here, theirs.id)
    delete(folder, key, bin_folder())
    return count, entries


def _begin_folder(lot: ListedLot) -> str:
    """A folder for a lot that is only in the log."""
    key = new_key()
    folder = desk().lot(key)
    if lot.logged is not None:
        about = {"lot-name": lot.logged.name, "lot-seller": lot.logged.seller, "lot-part": lot.logged.part}
        folder.set_entries(about)
        bind(folder, lot.logged.id)
    return key
