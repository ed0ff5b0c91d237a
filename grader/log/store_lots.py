"""Changing what is said of a lot; a part of ``Log``. Its entries stay as they were made."""

from __future__ import annotations

from abc import ABC, abstractmethod
from pathlib import Path

from sqlalchemy import Engine, update

from grader.log import schema
from grader.log.model import LoggedLot, NewLot
from grader.log.names import claim_name
from grader.log.rows import as_lot, insert_row, lot_row
from grader.log.store_file import log_errors, writing

_SAID = ("name", "seller", "part", "note", "archived")


class LotChanging(ABC):
    """Methods that change what is said of a lot."""

    path: Path | str
    engine: Engine

    @abstractmethod
    def now(self) -> str:
        """The present moment as the log writes it."""

    def change_lot(self, lot: int | str, new: NewLot, *, archived: bool | None = None, who: str = "") -> LoggedLot:
        """Say something else of a lot: its name, its seller, its kind of boards, a note, whether it is put away.

        What was said before stays in the log, as a row of its own. Entries of a lot that is put away count as before.

        Args:
            lot: its number or name.
            new: all that is to be said of it.
            archived: whether it is put away; None leaves that as it is.
            who: changes it.

        Raises:
            UsageError: ``lot-unknown``; ``lot-exists``: another lot has this name.
        """
        with log_errors(self.path), writing(self.engine) as c:
            old = lot_row(c, lot)
            values = {**new.model_dump(), "archived": old["archived"] if archived is None else int(archived)}
            if any(old[name] != values[name] for name in _SAID):
                claim_name(c, schema.lots, new.name, "lot", but=old["id"])
                said = {name: old[name] for name in _SAID}
                insert_row(c, schema.lot_changes, lot_id=old["id"], **said, who=who, logged_at=self.now())
                c.execute(update(schema.lots).where(schema.lots.c.id == old["id"]).values(**values))
            return as_lot(lot_row(c, old["id"]))
