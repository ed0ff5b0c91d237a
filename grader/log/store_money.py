"""Writing the costs and proceeds of a lot; a part of ``Log``."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, RowMapping, Table

from calibration.errors import UsageError
from grader.log import schema
from grader.log.money_model import MoneyEntry, NewMoney, NewPurchase, Purchase
from grader.log.rows import as_money, as_purchase, insert_row, lot_row, row_of, rows_of
from grader.log.store_file import log_errors, writing


class MoneyWriting(ABC):
    """Methods that write entries about money. A lot is given by its number or name."""

    path: Path | str
    engine: Engine

    @abstractmethod
    def now(self) -> str:
        """The current time as written in the log."""

    def add_purchase(self, lot: int | str, new: NewPurchase) -> Purchase:
        """Log a purchase.

        Raises:
            UsageError: ``lot-unknown``.
        """
        return as_purchase(self._write(schema.purchases, lot, _of_purchase(new)))

    def correct_purchase(self, number: int, new: NewPurchase, reason: str, lot: int | str | None = None) -> Purchase:
        """Log the correction of a wrong purchase, which stays in the log.

        Args:
            number: of the wrong purchase.
            new: the complete correct entry.
            reason: why it was wrong.
            lot: of the correct entry; unchanged if left out.

        Raises:
            UsageError: ``money-unknown``; ``money-corrected``: it was corrected before;
                ``reason-missing``; ``lot-unknown``.
        """
        return as_purchase(self._write(schema.purchases, lot, _of_purchase(new), number, reason))

    def add_money(self, lot: int | str, new: NewMoney) -> MoneyEntry:
        """Log a cost, the proceeds of a sale, or a settlement.

        Raises:
            UsageError: ``lot-unknown``.
        """
        return as_money(self._write(schema.money, lot, _of_money(new)))

    def add_shares(self, entries: Mapping[int, NewMoney]) -> tuple[MoneyEntry, ...]:
        """Log one settlement divided among several lots, by number; all or none.

        Raises:
            UsageError: ``lot-unknown``.
        """
        with log_errors(self.path), writing(self.engine) as c:
            rows = []
            for lot, new in entries.items():
                values = {**_of_money(new), "lot_id": lot_row(c, lot)["id"], "logged_at": self.now()}
                number = insert_row(c, schema.money, **values, corrects=None, reason="")
                rows.append(row_of(c, schema.money, number))
            return tuple(map(as_money, rows))

    def correct_money(self, number: int, new: NewMoney, reason: str, lot: int | str | None = None) -> MoneyEntry:
        """Log the correction of a wrong entry, which stays in the log.

        Args:
            number: of the wrong entry.
            new: the complete correct entry, of the same kind.
            reason: why it was wrong.
            lot: of the correct entry; unchanged if left out.

        Raises:
            UsageError: as ``correct_purchase``; ``money-other-kind``.
        """
        return as_money(self._write(schema.money, lot, _of_money(new), number, reason))

    def _write(
        self,
        table: Table,
        lot: int | str | None,
        values: dict[str, Any],
        corrects: int | None = None,
        reason: str = "",
    ) -> RowMapping:
        with log_errors(self.path), writing(self.engine) as c:
            old = None if corrects is None else _wrong(c, table, corrects, reason, values.get("kind"))
            lot_id = (
                old["lot_id"] if lot is None and old is not None else lot_row(c, "" if lot is None else lot)["id"]
            )
            values = {**values, "lot_id": lot_id, "logged_at": self.now(), "corrects": corrects}
            return row_of(c, table, insert_row(c, table, **values, reason=reason.strip()))


def _wrong(c: Connection, table: Table, number: int, reason: str, kind: str | None) -> RowMapping:
    """The entry to correct.

    Raises:
        UsageError: see ``MoneyWriting.correct_purchase``.
    """
    if not reason.strip():
        raise UsageError("reason-missing", "A correction needs a reason.", "Say what was wrong.")
    what = "purchase" if table is schema.purchases else "entry of money"
    found = rows_of(c, table, table.c.id == number)
    if not found:
        raise UsageError(
            "money-unknown", f"There is no {what} {number} in the log.", "Choose one that the lot's entries show."
        )
    newer = rows_of(c, table, table.c.corrects == number)
    if newer:
        raise UsageError(
            "money-corrected",
            f"The {what} {number} was already corrected by {newer[0]['id']}.",
            "Correct that one.",
        )
    if kind is not None and found[0]["kind"] != kind:
        raise UsageError(
            "money-other-kind",
            f"The {what} {number} is a {found[0]['kind']}, not a {kind}.",
            f"Correct it by a {found[0]['kind']}. One that never was is corrected to an amount of zero.",
        )
    return found[0]


def _of_purchase(new: NewPurchase) -> dict[str, Any]:
    return {**new.model_dump(), "price": _plain(new.price), "bought_on": new.bought_on.isoformat()}


def _of_money(new: NewMoney) -> dict[str, Any]:
    amounts = {"amount": _plain(new.amount), "charges": _plain(new.charges) if new.charges else "0"}
    return {**new.model_dump(), **amounts, "day": new.day.isoformat()}


def _plain(amount: Decimal) -> str:
    """A decimal without an exponent, and without a negative zero."""
    return format(abs(amount), "f")
