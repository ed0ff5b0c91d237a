"""Entries about batches from their table rows."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, RowMapping, Table, select

from grader.log import schema
from grader.log.batch_model import (
    BatchAmount,
    BatchRecord,
    BatchRecords,
    BatchTest,
    BatchYield,
    CarryOver,
    Load,
    LoadCarried,
    LoadLot,
    Strike,
)


def batch_records(c: Connection) -> BatchRecords:
    """All entries about batches."""

    def rows(table: Table) -> Sequence[RowMapping]:
        return c.execute(select(table).order_by(*table.primary_key.columns)).mappings().all()

    return BatchRecords(
        batches=tuple(as_batch(row) for row in rows(schema.batches)),
        loads=tuple(as_load(row) for row in rows(schema.batch_loads)),
        load_lots=tuple(LoadLot(**row) for row in rows(schema.load_lots)),
        amounts=tuple(as_amount(row) for row in rows(schema.batch_amounts)),
        tests=tuple(as_test(row) for row in rows(schema.batch_tests)),
        carry_overs=tuple(as_carry_over(row) for row in rows(schema.carry_overs)),
        load_carried=tuple(LoadCarried(**row) for row in rows(schema.load_carried)),
        yields=tuple(BatchYield(**row) for row in rows(schema.batch_yields)),
        strikes=tuple(as_strike(row) for row in rows(schema.batch_strikes)),
    )


def as_batch(row: RowMapping) -> BatchRecord:
    """A batch."""
    plan = None if row["plan"] is None else json.loads(row["plan"])
    return BatchRecord(**{**_read(row, "started_on"), "plan": plan})


def as_load(row: RowMapping) -> Load:
    """A load."""
    return Load(**_read(row, "loaded_on"))


def as_amount(row: RowMapping) -> BatchAmount:
    """An amount."""
    return BatchAmount(**_read(row))


def as_test(row: RowMapping) -> BatchTest:
    """A test."""
    return BatchTest(**_read(row, "tested_on"))


def as_carry_over(row: RowMapping) -> CarryOver:
    """A carry-over."""
    return CarryOver(**_read(row))


def as_strike(row: RowMapping) -> Strike:
    """A strike."""
    return Strike(**_read(row))


def _read(row: RowMapping, *days: str) -> dict[str, Any]:
    read = {**row, "logged_at": datetime.fromisoformat(row["logged_at"])}
    return read | {day: date.fromisoformat(row[day]) for day in days}
