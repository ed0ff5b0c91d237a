"""Changing the details of a lot; a part of ``Log``. Its entries are unchanged."""

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
    """Methods that change the details of a lot."""

    path: Path | str
    engine: Engine

    @abstractmethod
    def now(self) -> str:
        """The current time as written in the log."""

    def change_lot(self, lot: int | str, new: NewLot, *, archived: bool | None = None, who: str = "") -> LoggedLot:
        """Change the details of a lot: name, seller, kind of boards, note, whether it is archived.

        The old details stay in the log as a row of their own. Entries of an archived lot still count.

        Args:
            lot: its number or name.
            new: all its details.
            archived: whether it is put away; None for no change.
            who: made the change.

        Raises:
            UsageError: ``lot-unknown``; ``lot-exists``: the name is taken.
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
