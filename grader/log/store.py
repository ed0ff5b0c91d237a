"""The log: lots, the estimates made of them, what was paid, what came out."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, RowMapping, Table, insert, select
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.exc import IntegrityError

from calibration.errors import LogError, UsageError
from grader import __version__
from grader.log import schema
from grader.log.model import (
    Contents,
    Document,
    Estimate,
    Lot,
    NewLot,
    NewPurchase,
    NewYield,
    Offer,
    PhotoRecord,
    Purchase,
    Yield,
    utc_text,
)
from grader.log.store_file import check_file, log_errors, migrate, open_engine, writing
from grader.places import data_folder

Clock = Callable[[], datetime]


def default_path() -> Path:
    """Where the log lies if nobody says otherwise: the user's data folder of this platform."""
    return data_folder() / "log.sqlite"


def open_log(path: Path | None = None, *, must_exist: bool = False, clock: Clock | None = None) -> Log:
    """Open the log, creating it where there is none.

    Args:
        path: the file; None for ``default_path()``, whose folder is created.
        must_exist: do not create it.
        clock: gives the present moment with its time zone.

    Raises:
        LogError: the file is no log of ours, was written by a newer program, or cannot be used; it is left untouched.
    """
    if path is None:
        path = default_path()
        if not must_exist:
            _make_folder(path.parent)
    check_file(path, must_exist)
    log = Log(path, open_engine(path), clock or (lambda: datetime.now(UTC)))
    migrate(log.engine, path, log.now)
    return log


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogError(
            "log-folder-missing",
            f"The folder {folder} cannot be made ({error.strerror}).",
            "Choose a file with --log.",
        ) from error


class Log:
    """An open log; made by ``open_log``. Each call is one transaction, done when it returns.

    Methods that take a lot take its number or its name (case does not matter) and raise ``UsageError``
    (``lot-unknown``) where there is none. All raise ``LogError`` where the file cannot be used.
    """

    def __init__(self, path: Path, engine: Engine, clock: Clock) -> None:
        self.path = path
        self.engine = engine
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        self.engine.dispose()

    def now(self) -> str:
        """The present moment as the log writes it."""
        return utc_text(self._clock())

    # --- writing

    def add_lot(self, new: NewLot) -> Lot:
        """Start a lot.

        Raises:
            UsageError: ``lot-exists``: a lot of this name is there.
        """
        with log_errors(self.path):
            try:
                with writing(self.engine) as c:
                    number = _insert(c, schema.lots, **new.model_dump(), created_at=self.now())
            except IntegrityError as error:
                if "UNIQUE" not in str(error.orig):
                    raise
                raise UsageError(
                    "lot-exists", f"There is already a lot named '{new.name}'.", "Choose another name, or add to it."
                ) from error
        return self.lot(number)

    def add_estimate(self, lot: int | str, photo: PhotoRecord, document: Document) -> Estimate:
        """Log one measurement as made.

        Raises:
            UsageError: the document is not JSON (it holds not-a-number or odd values).
        """
        return self.add_estimates(lot, [(photo, document)])[0]

    def add_estimates(self, lot: int | str, measured: Iterable[tuple[PhotoRecord, Document]]) -> tuple[Estimate, ...]:
        """Log some measurements, all or none.

        Raises:
            UsageError: as ``add_estimate``.
        """
        rows = [(photo, _text(document)) for photo, document in measured]
        numbers = []
        with log_errors(self.path), writing(self.engine) as c:
            lot_id = _lot_row(c, lot)["id"]
            for photo, text in rows:
                values = {**photo.model_dump(), "taken_at": photo.taken_at and photo.taken_at.isoformat()}
                c.execute(sqlite_insert(schema.photos).values(values).on_conflict_do_nothing())
                numbers.append(
                    _insert(
                        c,
                        schema.estimates,
                        lot_id=lot_id,
                        photo_sha256=photo.sha256,
                        made_at=self.now(),
                        program_version=__version__,
                        document=text,
                    )
                )
        with log_errors(self.path), self.engine.connect() as c:
            return tuple(_estimate(_row(c, schema.estimates, number)) for number in numbers)

    def add_purchase(self, lot: int | str, new: NewPurchase) -> Purchase:
        """Log what was paid."""
        price = format(new.price, "f")  # never in powers of ten
        values = {**new.model_dump(), "price": price, "bought_on": new.bought_on.isoformat()}
        return _purchase(self._add(schema.purchases, lot, logged_at=self.now(), **values))

    def add_yield(self, lot: int | str, new: NewYield) -> Yield:
        """Log gold that was weighed."""
        values = {**new.model_dump(), "weighed_on": new.weighed_on.isoformat()}
        return _yield(self._add(schema.yields, lot, logged_at=self.now(), **values))

    def add_offer(self, lot: int | str, document: Document) -> Offer:
        """Log a valuation as made.

        Raises:
            UsageError: the document is not JSON.
        """
        text = _text(document)
        return _offer(self._add(schema.offers, lot, made_at=self.now(), program_version=__version__, document=text))

    def _add(self, table: Table, lot: int | str, **values: Any) -> RowMapping:
        with log_errors(self.path), writing(self.engine) as c:
            number = _insert(c, table, lot_id=_lot_row(c, lot)["id"], **values)
            return _row(c, table, number)

    # --- reading

    def lots(self) -> tuple[Lot, ...]:
        """All lots in the order in which they were started."""
        with log_errors(self.path), self.engine.connect() as c:
            return tuple(_lot(row) for row in _rows(c, schema.lots))

    def lot(self, lot: int | str) -> Lot:
        """One lot by its number or name."""
        with log_errors(self.path), self.engine.connect() as c:
            return _lot(_lot_row(c, lot))

    def entries(self, lot: int | str) -> Contents:
        """All that was logged of one lot."""
        with log_errors(self.path), self.engine.connect() as c:
            return _contents(c, _lot_row(c, lot)["id"])

    def contents(self) -> Contents:
        """All that is in the log, of one moment."""
        with log_errors(self.path), self.engine.connect() as c:
            return _contents(c, None)


def _text(document: Document) -> str:
    try:
        return json.dumps(document, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise UsageError(
            "document-invalid", f"The document cannot be written as JSON ({error}).", "Measure the photo again."
        ) from error


def _insert(c: Connection, table: Table, **values: Any) -> int:
    key = c.execute(insert(table).values(values)).inserted_primary_key
    return int(key[0]) if key else 0


def _row(c: Connection, table: Table, number: int) -> RowMapping:
    return c.execute(select(table).where(table.c.id == number)).mappings().one()


def _rows(c: Connection, table: Table, lot_id: int | None = None) -> Sequence[RowMapping]:
    query = select(table).order_by(table.c.id)
    if lot_id is not None:
        query = query.where((table.c.id if table is schema.lots else table.c.lot_id) == lot_id)
    return c.execute(query).mappings().all()


def _lot_row(c: Connection, lot: int | str) -> RowMapping:
    column = schema.lots.c.id if isinstance(lot, int) else schema.lots.c.name
    found = c.execute(select(schema.lots).where(column == lot)).mappings().one_or_none()
    if found is None:
        raise UsageError(
            "lot-unknown", f"There is no lot '{lot}' in the log.", "See grader log list, or start it: grader log new."
        )
    return found


def _contents(c: Connection, lot_id: int | None) -> Contents:
    estimates = tuple(_estimate(row) for row in _rows(c, schema.estimates, lot_id))
    pictured = {e.photo_sha256 for e in estimates}
    photos = c.execute(select(schema.photos)).mappings().all()
    return Contents(
        lots=tuple(_lot(row) for row in _rows(c, schema.lots, lot_id)),
        photos=tuple(PhotoRecord(**row) for row in photos if row["sha256"] in pictured),
        estimates=estimates,
        purchases=tuple(_purchase(row) for row in _rows(c, schema.purchases, lot_id)),
        yields=tuple(_yield(row) for row in _rows(c, schema.yields, lot_id)),
        offers=tuple(_offer(row) for row in _rows(c, schema.offers, lot_id)),
    )


def _lot(row: RowMapping) -> Lot:
    return Lot(**{**row, "created_at": datetime.fromisoformat(row["created_at"])})


def _estimate(row: RowMapping) -> Estimate:
    return Estimate(**{**row, **_made(row)})


def _offer(row: RowMapping) -> Offer:
    return Offer(**{**row, **_made(row)})


def _made(row: RowMapping) -> dict[str, Any]:
    return {"made_at": datetime.fromisoformat(row["made_at"]), "document": json.loads(row["document"])}


def _purchase(row: RowMapping) -> Purchase:
    day = date.fromisoformat(row["bought_on"])
    return Purchase(**{**row, **_logged(row), "price": Decimal(row["price"]), "bought_on": day})


def _yield(row: RowMapping) -> Yield:
    return Yield(**{**row, **_logged(row), "weighed_on": date.fromisoformat(row["weighed_on"])})


def _logged(row: RowMapping) -> dict[str, Any]:
    return {"logged_at": datetime.fromisoformat(row["logged_at"])}
