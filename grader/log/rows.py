"""Entries of the log from its table rows."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import ColumnElement, Connection, RowMapping, Table, insert, or_, select

from calibration.errors import LogError, UsageError
from calibration.reading import as_written
from grader.log import schema
from grader.log.batch_rows import batch_records
from grader.log.entry import Document
from grader.log.model import (
    Attachment,
    BeliefRecord,
    Contents,
    Estimate,
    Exclusion,
    LoggedLot,
    LoggedOffer,
    LotChange,
    Mark,
    PhotoRecord,
    Yield,
    YieldLot,
)
from grader.log.money_model import MoneyEntry, Purchase
from grader.log.names import named_row


def text_of(document: Document) -> str:
    """A document as stored text.

    Raises:
        UsageError: it cannot be written as JSON.
    """
    try:
        return json.dumps(document, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise UsageError(
            "document-invalid", f"The document cannot be written as JSON ({error}).", "Measure the photo again."
        ) from error


def insert_row(c: Connection, table: Table, **values: Any) -> int:
    """Insert a row and return its number."""
    key = c.execute(insert(table).values(values)).inserted_primary_key
    return int(key[0]) if key else 0


def row_of(c: Connection, table: Table, number: int) -> RowMapping:
    """One row by its number."""
    return c.execute(select(table).where(table.c.id == number)).mappings().one()


def rows_of(c: Connection, table: Table, where: ColumnElement[bool] | None = None) -> Sequence[RowMapping]:
    """Rows in the order of logging."""
    query = select(table).order_by(*table.primary_key.columns)
    return c.execute(query if where is None else query.where(where)).mappings().all()


def lot_row(c: Connection, lot: int | str) -> RowMapping:
    """A lot by its number or name.

    Raises:
        UsageError: ``lot-unknown``; ``lot-ambiguous``.
    """
    found = named_row(c, schema.lots, lot, "lot")
    if found is None:
        raise UsageError(
            "lot-unknown",
            f"There is no lot '{lot}' in the log.",
            "Start the lot first, or choose one that is in the log.",
        )
    return found


def yield_row(c: Connection, number: int) -> RowMapping:
    """A yield by its number.

    Raises:
        UsageError: ``yield-unknown``.
    """
    found = c.execute(select(schema.yields).where(schema.yields.c.id == number)).mappings().one_or_none()
    if found is None:
        raise UsageError(
            "yield-unknown",
            f"There is no yield {number} in the log.",
            "Use the number of a yield that is in the log.",
        )
    return found


_DAMAGED = LogError(
    "log-damaged",
    "The log holds an entry that cannot be read.",
    "Restore its last good copy. The damaged log is kept beside it.",
)


def contents_of(c: Connection, lot_id: int | None) -> Contents:
    """All entries, or those of one lot: marks and beliefs only with the whole log, batches always all.

    Raises:
        LogError: ``log-damaged``: an entry was altered.
    """
    if lot_id is None:
        with as_written(_DAMAGED):
            return _contents(c, {}, whole=True)
    its = select(schema.yield_lots.c.yield_id).where(schema.yield_lots.c.lot_id == lot_id)
    where: dict[Table, ColumnElement[bool]] = {
        schema.lots: schema.lots.c.id == lot_id,
        **{t: t.c.lot_id == lot_id for t in (schema.estimates, schema.offers, schema.lot_changes)},
        **{t: _of_lot_or_corrected(t, lot_id) for t in (schema.purchases, schema.money)},
        schema.yields: or_(schema.yields.c.lot_id == lot_id, schema.yields.c.id.in_(its)),
        **{t: t.c.yield_id.in_(its) for t in (schema.yield_lots, schema.exclusions, schema.attachments)},
    }
    with as_written(_DAMAGED):
        return _contents(c, where, whole=False)


def _of_lot_or_corrected(table: Table, lot_id: int) -> ColumnElement[bool]:
    """Entries of a lot, and their corrections, even if these are in another lot."""
    its = select(table.c.id).where(table.c.lot_id == lot_id)
    return or_(table.c.lot_id == lot_id, table.c.corrects.in_(its))


def _contents(c: Connection, where: dict[Table, ColumnElement[bool]], *, whole: bool) -> Contents:
    def rows(table: Table) -> Sequence[RowMapping]:
        return rows_of(c, table, where.get(table))

    estimates = tuple(as_estimate(row) for row in rows(schema.estimates))
    pictured = {e.photo_sha256 for e in estimates}
    photos = c.execute(select(schema.photos)).mappings().all()
    return Contents(
        lots=tuple(as_lot(row) for row in rows(schema.lots)),
        photos=tuple(PhotoRecord(**row) for row in photos if row["sha256"] in pictured),
        estimates=estimates,
        purchases=tuple(as_purchase(row) for row in rows(schema.purchases)),
        yields=tuple(as_yield(row) for row in rows(schema.yields)),
        offers=tuple(as_offer(row) for row in rows(schema.offers)),
        yield_lots=tuple(YieldLot(**row) for row in rows(schema.yield_lots)),
        exclusions=tuple(as_exclusion(row) for row in rows(schema.exclusions)),
        marks=tuple(as_mark(row) for row in rows(schema.marks)) if whole else (),
        attachments=tuple(as_attachment(row) for row in rows(schema.attachments)),
        beliefs=tuple(as_belief(row) for row in rows(schema.beliefs)) if whole else (),
        batches=batch_records(c),
        money=tuple(as_money(row) for row in rows(schema.money)),
        lot_changes=tuple(as_lot_change(row) for row in rows(schema.lot_changes)),
    )


def as_lot(row: RowMapping) -> LoggedLot:
    """A lot."""
    created = datetime.fromisoformat(row["created_at"])
    return LoggedLot(**{**row, "created_at": created, "archived": bool(row["archived"])})


def as_lot_change(row: RowMapping) -> LotChange:
    """The details of a lot before a change."""
    return LotChange(**{**row, **_logged(row), "archived": bool(row["archived"])})


def as_estimate(row: RowMapping) -> Estimate:
    """An estimate."""
    return Estimate(**{**row, **_made(row)})


def as_offer(row: RowMapping) -> LoggedOffer:
    """An offer."""
    return LoggedOffer(**{**row, **_made(row)})


def as_belief(row: RowMapping) -> BeliefRecord:
    """A belief."""
    return BeliefRecord(**{**row, **_made(row)})


def as_purchase(row: RowMapping) -> Purchase:
    """A purchase."""
    day = date.fromisoformat(row["bought_on"])
    return Purchase(**{**row, **_logged(row), "price": Decimal(row["price"]), "bought_on": day})


def as_money(row: RowMapping) -> MoneyEntry:
    """A cost, a sale or a settlement."""
    amounts = {name: Decimal(row[name]) for name in ("amount", "charges")}
    return MoneyEntry(**{**row, **_logged(row), **amounts, "day": date.fromisoformat(row["day"])})


def as_yield(row: RowMapping) -> Yield:
    """A yield."""
    return Yield(**{**row, **_logged(row), "weighed_on": date.fromisoformat(row["weighed_on"])})


def as_exclusion(row: RowMapping) -> Exclusion:
    """An exclusion."""
    return Exclusion(**{**row, **_logged(row), "excluded": bool(row["excluded"])})


def as_mark(row: RowMapping) -> Mark:
    """A mark."""
    return Mark(**{**row, **_logged(row), "day": date.fromisoformat(row["day"])})


def as_attachment(row: RowMapping) -> Attachment:
    """An attachment."""
    return Attachment(**{**row, **_logged(row)})


def _made(row: RowMapping) -> dict[str, Any]:
    return {"made_at": datetime.fromisoformat(row["made_at"]), "document": json.loads(row["document"])}


def _logged(row: RowMapping) -> dict[str, Any]:
    return {"logged_at": datetime.fromisoformat(row["logged_at"])}
