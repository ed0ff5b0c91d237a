"""One list of all lots, in the log or only in progress."""

from __future__ import annotations

from dataclasses import dataclass

from app.lots.bin import delete, in_bin, take_out
from app.lots.desk import NAMELESS, bin_folder, current_lot, day_words, desk, lot_key, start_lot, take_up
from app.lots.keep import all_lots, bind, number_in_log, write_log
from app.lots.lot_folder import LotFolder, lots_in, new_key
from app.lots.merging import take_over
from calibration.errors import DataFileError, UsageError
from grader.log import LoggedLot


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
        """Its unique part in keys of fields."""
        return self.key if self.key is not None else f"log-{self.logged.id if self.logged else 0}"

    @property
    def folder(self) -> LotFolder | None:
        """Its files."""
        return None if self.key is None else desk().lot(self.key)


def listed_lots() -> list[ListedLot]:
    """Every lot, the last changed first; those that are only in the log come last."""
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
    key = lot.key
    if key is None and lot.logged is not None:
        key = new_key()
        folder = desk().lot(key)
        about = {"lot-name": lot.logged.name, "lot-seller": lot.logged.seller, "lot-part": lot.logged.part}
        folder.set_entries(about)
        bind(folder, lot.logged.id)
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
    number = _number(desk().lot(key))
    logged = next((lot for lot in all_lots() if lot.id == number), None)
    if logged is not None and logged.archived:
        write_log(lambda log: _put_away(log.change_lot(logged.id, logged.as_new(), archived=False)))


def _number(lot: LotFolder) -> int | None:
    try:
        return number_in_log(lot)
    except DataFileError:
        return None


def merge_into_this(other: ListedLot) -> int:
    """Merge another lot into this window's lot; the other one goes to the bin.

    Returns:
        How many photos came along.

    Raises:
        UsageError: ``lots-both-kept``: both are kept in the log, whose entries never move; the disk does not take it.
        DataFileError: one of them is damaged.
    """
    here = current_lot()
    mine = number_in_log(here)
    if mine is not None and other.logged is not None and other.logged.id != mine:
        raise UsageError(
            "lots-both-kept",
            f"Both lots are kept in the log, and what {other.name} cost and brought stays with it.",
            "Merge a lot that is not kept yet, or go on with the two of them.",
        )
    if other.folder is None or other.key is None:
        raise UsageError("lots-both-kept", f"{other.name} has no photos here.", "Open that lot and go on with it.")
    count = take_over(here, other.folder)
    if mine is None and other.logged is not None:
        bind(here, other.logged.id)
    delete(other.folder, other.key, bin_folder())
    return count
