"""Writing entries about batches; a part of ``Log``."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, RowMapping, Table, select

from calibration.errors import UsageError
from grader.log import schema
from grader.log.batch_model import (
    BatchAmount,
    BatchRecord,
    BatchRecords,
    BatchTest,
    CarryOver,
    Load,
    NewAmount,
    NewBatch,
    NewCarryOver,
    NewLoad,
    NewStrike,
    NewTest,
    Strike,
)
from grader.log.batch_rows import (
    as_amount,
    as_batch,
    as_carry_over,
    as_load,
    as_strike,
    as_test,
    batch_records,
)
from grader.log.entry import Document
from grader.log.names import claim_name, named_row
from grader.log.rows import insert_row, lot_row, row_of, text_of
from grader.log.store_file import log_errors, writing
from grader.units import in_digits

_STRUCK_TABLES = {
    "load": schema.batch_loads,
    "amount": schema.batch_amounts,
    "test": schema.batch_tests,
    "carry-over": schema.carry_overs,
}
_ROUNDING = 1e-9


class BatchWriting(ABC):
    """Methods that write entries about batches. A batch is given by its number or name, in any case.

    All raise ``UsageError`` (``batch-unknown``) if it does not exist.
    """

    path: Path | str
    engine: Engine

    @abstractmethod
    def now(self) -> str:
        """The current time as written in the log."""

    def add_batch(self, new: NewBatch, plan: Document | None = None) -> BatchRecord:
        """Start a batch, with its plan if there is one.

        Raises:
            UsageError: ``batch-exists``; ``document-invalid``.
        """
        values = {
            **new.model_dump(),
            "started_on": new.started_on.isoformat(),
            "plan": None if plan is None else text_of(plan),
            "logged_at": self.now(),
        }
        with log_errors(self.path), writing(self.engine) as c:
            claim_name(c, schema.batches, new.name, "batch")
            return as_batch(row_of(c, schema.batches, insert_row(c, schema.batches, **values)))

    def add_load(
        self, batch: int | str, new: NewLoad, lots: Mapping[int | str, float], carried: Sequence[int] = ()
    ) -> Load:
        """Log a load.

        Args:
            batch: to which it belongs.
            new: the load.
            lots: in the load, each with the number of times its photographed boards; without boards carried over,
                whose gold was counted when they first went in.
            carried: numbers of the carry-overs that went in.

        Raises:
            UsageError: ``load-empty``; ``copies-invalid``; ``lot-twice``; ``carry-over-unknown``;
                ``carry-over-used``; ``carry-over-to-itself``.
        """
        if not lots and not carried:
            raise UsageError("load-empty", "A load needs a lot or boards carried over.", "Say what went in.")
        with log_errors(self.path), writing(self.engine) as c:
            batch_id = _batch_row(c, batch)["id"]
            values = {**new.model_dump(), "loaded_on": new.loaded_on.isoformat()}
            number = insert_row(c, schema.batch_loads, batch_id=batch_id, logged_at=self.now(), **values)
            found = [(lot_row(c, name)["id"], copies) for name, copies in lots.items()]
            for lot_id, copies in found:
                _check_copies(copies)
                if sum(lot_id == other for other, _ in found) > 1:
                    raise UsageError("lot-twice", "One lot is named twice.", "Name each lot once.")
                insert_row(c, schema.load_lots, load_id=number, lot_id=lot_id, copies=copies)
            records = batch_records(c)
            for carry_id in dict.fromkeys(carried):
                _check_carried(records, carry_id, batch_id)
                insert_row(c, schema.load_carried, carry_id=carry_id, load_id=number)
            return as_load(row_of(c, schema.batch_loads, number))

    def add_amount(self, batch: int | str, new: NewAmount) -> BatchAmount:
        """Log material used or produced by a batch."""
        return as_amount(self._of_batch(schema.batch_amounts, batch, new.model_dump()))

    def add_test(self, batch: int | str, new: NewTest) -> BatchTest:
        """Log a test."""
        values = {**new.model_dump(), "tested_on": new.tested_on.isoformat()}
        return as_test(self._of_batch(schema.batch_tests, batch, values))

    def add_carry_over(self, batch: int | str, lot: int | str, new: NewCarryOver) -> CarryOver:
        """Log boards that came out of a batch with gold left on them.

        Raises:
            UsageError: ``carry-over-too-much``: more of the lot than went in.
        """
        with log_errors(self.path), writing(self.engine) as c:
            batch_id, lot_id = _batch_row(c, batch)["id"], lot_row(c, lot)["id"]
            records = batch_records(c)
            went_in = records.lots_in(batch_id).get(lot_id, 0.0)
            went_in += sum(x.copies for x in records.carried_in(batch_id) if x.lot_id == lot_id)
            came_out = sum(
                x.copies for x in records.current_carry_overs() if (x.batch_id, x.lot_id) == (batch_id, lot_id)
            )
            if new.copies > went_in - came_out + _ROUNDING * (1 + went_in):
                raise UsageError(
                    "carry-over-too-much",
                    f"This lot's photographed boards went in {in_digits(went_in, 6)} times, and "
                    f"{in_digits(came_out, 6)} times are already carried over.",
                    "Give at most what is left.",
                )
            values = {**new.model_dump(), "logged_at": self.now()}
            number = insert_row(c, schema.carry_overs, batch_id=batch_id, lot_id=lot_id, **values)
            return as_carry_over(row_of(c, schema.carry_overs, number))

    def strike(self, new: NewStrike) -> Strike:
        """Cancel an entry of a batch.

        Raises:
            UsageError: ``entry-unknown``; ``entry-struck``; ``carry-over-used``: strike the load that it went into
                first; ``load-carried-over``: boards that came out of it are carried over.
        """
        with log_errors(self.path), writing(self.engine) as c:
            table = _STRUCK_TABLES[new.kind]
            row = c.execute(select(table).where(table.c.id == new.entry_id)).mappings().one_or_none()
            if row is None:
                raise UsageError(
                    "entry-unknown",
                    f"There is no {new.kind} {new.entry_id} in the log.",
                    "Use the number of an entry that is in the log.",
                )
            records = batch_records(c)
            if new.entry_id in records.struck(new.kind):
                raise UsageError(
                    "entry-struck", f"The {new.kind} {new.entry_id} is already struck.", "Nothing needs to be done."
                )
            _check_strike(records, new, row)
            values = {**new.model_dump(), "logged_at": self.now()}
            return as_strike(row_of(c, schema.batch_strikes, insert_row(c, schema.batch_strikes, **values)))

    def _of_batch(self, table: Table, batch: int | str, values: Mapping[str, Any]) -> RowMapping:
        with log_errors(self.path), writing(self.engine) as c:
            batch_id = _batch_row(c, batch)["id"]
            return row_of(c, table, insert_row(c, table, batch_id=batch_id, logged_at=self.now(), **values))


def lots_of_batch(c: Connection, batch: int | str) -> tuple[int, dict[int | str, float], int]:
    """Number of a batch, copies of its own lots, and the lot that names its yield.

    Raises:
        UsageError: ``batch-unknown``; ``batch-empty``.
    """
    batch_id = int(_batch_row(c, batch)["id"])
    records = batch_records(c)
    lots: dict[int | str, float] = {lot: copies for lot, copies in records.lots_in(batch_id).items()}  # noqa: C416
    named = [*records.lots_in(batch_id), *(x.lot_id for x in records.carried_in(batch_id))]
    if not named:
        raise UsageError("batch-empty", "Nothing has gone into this batch.", "Log its loads first.")
    return batch_id, lots, named[0]


def _batch_row(c: Connection, batch: int | str) -> RowMapping:
    found = named_row(c, schema.batches, batch, "batch")
    if found is None:
        raise UsageError(
            "batch-unknown",
            f"There is no batch '{batch}' in the log.",
            "Choose one of the log's batches, or start it.",
        )
    return found


def _check_copies(copies: float) -> None:
    if not (math.isfinite(copies) and copies > 0):
        raise UsageError(
            "copies-invalid",
            f"The photographed boards cannot have gone in {in_digits(copies, 6)} times.",
            "Give a number above 0.",
        )


def _check_carried(records: BatchRecords, carry_id: int, batch_id: int) -> None:
    carry = next((x for x in records.current_carry_overs() if x.id == carry_id), None)
    if carry is None:
        raise UsageError(
            "carry-over-unknown",
            f"There is no carry-over {carry_id} in force.",
            "Use the number of a carry-over that is in the log.",
        )
    if records.carried_into(carry_id) is not None:
        raise UsageError(
            "carry-over-used",
            f"The boards of carry-over {carry_id} have already gone into a load.",
            "Their gold would count twice: name each carry-over once.",
        )
    if _comes_before(records, batch_id, carry.batch_id):
        raise UsageError(
            "carry-over-to-itself",
            f"The boards of carry-over {carry_id} came out of this batch, or of one that it was carried into.",
            "Put them into a later batch.",
        )


def _comes_before(records: BatchRecords, first: int, then: int) -> bool:
    """Whether boards went from one batch into the other through carry-overs; a batch comes before itself."""
    reached, new = {first}, {first}
    while new:
        into = {records.carried_into(x.id) for x in records.current_carry_overs() if x.batch_id in new}
        new = {number for number in into if number is not None} - reached
        reached |= new
    return then in reached


def _check_strike(records: BatchRecords, new: NewStrike, row: RowMapping) -> None:
    if new.kind == "carry-over" and records.carried_into(new.entry_id) is not None:
        raise UsageError(
            "carry-over-used",
            f"The boards of carry-over {new.entry_id} went into a later load.",
            "Strike that load first.",
        )
    came_out = (
        {x.lot_id for x in records.current_carry_overs() if x.batch_id == row["batch_id"]}
        if (new.kind == "load")
        else set()
    )
    went_in = {x.lot_id for x in records.load_lots if x.load_id == new.entry_id} | {
        carry.lot_id
        for x in records.load_carried
        for carry in records.carry_overs
        if (x.load_id, x.carry_id) == (new.entry_id, carry.id)
    }
    if came_out & went_in:
        raise UsageError(
            "load-carried-over",
            f"Boards of load {new.entry_id} are carried over.",
            "Strike the carry-over first.",
        )
