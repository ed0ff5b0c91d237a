"""The log: lots, their estimates, payments and yields."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import Connection, Engine, RowMapping, Table
from sqlalchemy.dialects.postgresql import insert as postgres_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert

from calibration.errors import LogError, UsageError
from grader.log import schema
from grader.log.entry import Document, utc_text
from grader.log.model import (
    Attachment,
    BeliefRecord,
    Contents,
    Estimate,
    Exclusion,
    LoggedLot,
    LoggedOffer,
    Mark,
    NewAttachment,
    NewExclusion,
    NewLot,
    NewMark,
    NewYield,
    PhotoRecord,
    Yield,
)
from grader.log.money_model import in_force
from grader.log.names import claim_name
from grader.log.rows import (
    as_attachment,
    as_belief,
    as_estimate,
    as_exclusion,
    as_lot,
    as_mark,
    as_offer,
    as_purchase,
    as_yield,
    contents_of,
    insert_row,
    lot_row,
    row_of,
    rows_of,
    text_of,
    yield_row,
)
from grader.log.store_batches import BatchWriting, lots_of_batch
from grader.log.store_file import check_file, log_errors, migrate, open_engine, writing
from grader.log.store_lots import LotChanging
from grader.log.store_money import MoneyWriting
from grader.log.store_postgres import is_url, open_server, shown
from grader.places import log_path
from grader.units import in_digits
from grader.version import __version__

Clock = Callable[[], datetime]


def default_path() -> Path:
    """The default path of the log, in the user's data folder on this platform."""
    return log_path()


def open_log(path: Path | str | None = None, *, must_exist: bool = False, clock: Clock | None = None) -> Log:
    """Open the log, creating it if necessary.

    Args:
        path: the file, or the URL of a PostgreSQL database (``postgresql://user@host/database``); None for
            ``default_path()``, whose folder is created.
        must_exist: raise an error instead of creating it.
        clock: returns the current time with its time zone.

    Raises:
        LogError: the file is not one of our logs, is from a newer program, or cannot be used; it is left untouched.

    Examples:
        >>> import grader
        >>> from grader.log import NewLot
        >>> with grader.open_log("log.sqlite") as log:
        ...     started = log.add_lot(NewLot(name="attic lot"))
        ...     [lot.name for lot in log.contents().lots]
        ['attic lot']
        >>> log
        <Log log.sqlite>
    """
    tells = clock or (lambda: datetime.now(UTC))
    if is_url(path):
        engine = open_server(str(path), must_exist, lambda: utc_text(tells()))
        return Log(shown(str(path)), engine, tells)
    if path is None:
        path = default_path()
        if not must_exist:
            _make_folder(path.parent)
    file = Path(path)
    check_file(file, must_exist)
    log = Log(file, open_engine(file), tells)
    migrate(log.engine, file, log.now, must_exist=must_exist)
    return log


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise LogError(
            "log-folder-missing",
            f"The folder {folder} cannot be made ({error.strerror}).",
            "Choose another file for the log.",
            remedy="log-other-file",
        ) from error


class Log(BatchWriting, MoneyWriting, LotChanging):
    """An open log, made by ``open_log``. Each call is one transaction, complete when it returns.

    Methods that take a lot accept its number or name (in any case) and raise ``UsageError``
    (``lot-unknown``) if it does not exist. All raise ``LogError`` if the file cannot be used.
    """

    def __init__(self, path: Path | str, engine: Engine, clock: Clock) -> None:
        self.path = path
        self.engine = engine
        self._clock = clock

    def __repr__(self) -> str:
        return f"<Log {self.path}>"

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Release the file."""
        self.engine.dispose()

    def now(self) -> str:
        """The current time as written in the log."""
        return utc_text(self._clock())

    # --- writing

    def add_lot(self, new: NewLot) -> LoggedLot:
        """Start a lot.

        Raises:
            UsageError: ``lot-exists``: the name is taken.
        """
        with log_errors(self.path), writing(self.engine) as c:
            claim_name(c, schema.lots, new.name, "lot")
            number = insert_row(c, schema.lots, **new.model_dump(), created_at=self.now())
        return self.lot(number)

    def add_estimate(self, lot: int | str, photo: PhotoRecord, document: Document) -> Estimate:
        """Log one measurement.

        Raises:
            UsageError: the document cannot be written as JSON (not-a-number, unsupported types).
        """
        return self.add_estimates(lot, [(photo, document)])[0]

    def add_estimates(self, lot: int | str, measured: Iterable[tuple[PhotoRecord, Document]]) -> tuple[Estimate, ...]:
        """Log several measurements, all or none.

        Raises:
            UsageError: as ``add_estimate``.
        """
        rows = [(photo, text_of(document)) for photo, document in measured]
        numbers = []
        with log_errors(self.path), writing(self.engine) as c:
            lot_id = lot_row(c, lot)["id"]
            for photo, text in rows:
                values = {**photo.model_dump(), "taken_at": photo.taken_at and photo.taken_at.isoformat()}
                insert = postgres_insert if c.dialect.name == "postgresql" else sqlite_insert
                c.execute(insert(schema.photos).values(values).on_conflict_do_nothing())
                numbers.append(
                    insert_row(
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
            return tuple(as_estimate(row_of(c, schema.estimates, number)) for number in numbers)

    def add_yield(self, lot: int | str, new: NewYield, lots: Mapping[int | str, float] | None = None) -> Yield:
        """Log gold that was weighed.

        Args:
            lot: its source.
            new: the yield.
            lots: its sources, if several or only partly photographed, each with the number of
                times its photographed boards went in; ``lot`` once if left out.

        Raises:
            UsageError: ``copies-invalid``; ``lot-twice``; ``gold-heavier-than-boards``.
        """
        return self._yield(lot, new, {lot: 1.0} if lots is None else lots)

    def add_yields(self, entries: Iterable[tuple[int | str, NewYield, float]]) -> tuple[Yield, ...]:
        """Log several yields, each of one lot and a number of copies of its photographed boards; all or none."""
        with log_errors(self.path), writing(self.engine) as c:
            numbers = [self._write_yield(c, lot, new, {lot: copies}) for lot, new, copies in entries]
            return tuple(as_yield(row_of(c, schema.yields, number)) for number in numbers)

    def add_batch_yield(self, batch: int | str, new: NewYield) -> Yield:
        """Log the gold weighed at the end of a batch, whose loads give its lots.

        Raises:
            UsageError: ``batch-unknown``; ``batch-empty``; ``gold-heavier-than-boards``.
        """
        with log_errors(self.path), writing(self.engine) as c:
            batch_id, lots, first = lots_of_batch(c, batch)
            number = self._write_yield(c, first, new, lots)
            insert_row(c, schema.batch_yields, yield_id=number, batch_id=batch_id)
            return as_yield(row_of(c, schema.yields, number))

    def correct_yield(
        self, number: int, new: NewYield, reason: str, lots: Mapping[int | str, float] | None = None
    ) -> Yield:
        """Log the correction of a wrong yield, which stays in the log.

        Args:
            number: of the wrong yield.
            new: the complete correct entry.
            reason: why it was wrong.
            lots: as in ``add_yield``; those of the wrong one if left out.

        Raises:
            UsageError: ``yield-unknown``; ``yield-corrected``: it was corrected before;
                ``reason-missing``.
        """
        if not reason.strip():
            raise UsageError("reason-missing", "A correction needs a reason.", "Say what was wrong.")
        with log_errors(self.path), self.engine.connect() as c:
            old = yield_row(c, number)
            its = rows_of(c, schema.yield_lots, schema.yield_lots.c.yield_id == number)
            newer = rows_of(c, schema.yields, schema.yields.c.corrects == number)
        if newer:
            raise UsageError(
                "yield-corrected",
                f"Yield {number} was already corrected by yield {newer[0]['id']}.",
                "Correct that one.",
            )
        same: dict[int | str, float] = {row["lot_id"]: row["copies"] for row in its}
        chosen = same if lots is None else lots
        first = old["lot_id"] if lots is None else next(iter(chosen), old["lot_id"])
        return self._yield(first, new, chosen, corrects=number, reason=reason.strip())

    def _yield(self, lot: int | str, new: NewYield, lots: Mapping[int | str, float], **more: Any) -> Yield:
        with log_errors(self.path), writing(self.engine) as c:
            return as_yield(row_of(c, schema.yields, self._write_yield(c, lot, new, lots, **more)))

    def _write_yield(
        self, c: Connection, lot: int | str, new: NewYield, lots: Mapping[int | str, float], **more: Any
    ) -> int:
        values = {**new.model_dump(), "weighed_on": new.weighed_on.isoformat(), **more}
        number = insert_row(c, schema.yields, lot_id=lot_row(c, lot)["id"], logged_at=self.now(), **values)
        found = [(lot_row(c, name)["id"], copies) for name, copies in lots.items()]
        _refuse_heavier_than_boards(c, [lot_id for lot_id, _ in found], new.mass_mg)
        for lot_id, copies in found:
            if not (math.isfinite(copies) and copies > 0):
                raise UsageError(
                    "copies-invalid",
                    f"The photographed boards cannot have gone in {in_digits(copies, 6)} times.",
                    "Give a number above 0.",
                )
            if sum(lot_id == other for other, _ in found) > 1:
                raise UsageError("lot-twice", "One lot is named twice.", "Name each lot once.")
            insert_row(c, schema.yield_lots, yield_id=number, lot_id=lot_id, copies=copies)
        return number

    def exclude_yield(self, number: int, new: NewExclusion) -> Exclusion:
        """Exclude a yield from learning, or include it again.

        Raises:
            UsageError: ``yield-unknown``.
        """
        values = {**new.model_dump(), "excluded": int(new.excluded)}
        return as_exclusion(self._of_yield(schema.exclusions, number, values))

    def attach(self, number: int, new: NewAttachment) -> Attachment:
        """Record a file that belongs to a yield.

        Raises:
            UsageError: ``yield-unknown``.
        """
        return as_attachment(self._of_yield(schema.attachments, number, new.model_dump()))

    def _of_yield(self, table: Table, number: int, values: Mapping[str, Any]) -> RowMapping:
        with log_errors(self.path), writing(self.engine) as c:
            row = insert_row(c, table, yield_id=yield_row(c, number)["id"], logged_at=self.now(), **values)
            return row_of(c, table, row)

    def add_mark(self, new: NewMark) -> Mark:
        """Mark a day of change."""
        values = {**new.model_dump(), "day": new.day.isoformat(), "logged_at": self.now()}
        with log_errors(self.path), writing(self.engine) as c:
            return as_mark(row_of(c, schema.marks, insert_row(c, schema.marks, **values)))

    def add_belief(self, key: str, document: Document) -> BeliefRecord:
        """Log a belief.

        Raises:
            UsageError: the document cannot be written as JSON.
        """
        text = text_of(document)
        values = {"made_at": self.now(), "program_version": __version__, "key": key, "document": text}
        with log_errors(self.path), writing(self.engine) as c:
            return as_belief(row_of(c, schema.beliefs, insert_row(c, schema.beliefs, **values)))

    def add_offer(self, lot: int | str, document: Document) -> LoggedOffer:
        """Log a valuation.

        Raises:
            UsageError: the document cannot be written as JSON.
        """
        text = text_of(document)
        return as_offer(self._add(schema.offers, lot, made_at=self.now(), program_version=__version__, document=text))

    def _add(self, table: Table, lot: int | str, **values: Any) -> RowMapping:
        with log_errors(self.path), writing(self.engine) as c:
            number = insert_row(c, table, lot_id=lot_row(c, lot)["id"], **values)
            return row_of(c, table, number)

    # --- reading

    def lots(self) -> tuple[LoggedLot, ...]:
        """All lots, in the order of creation."""
        with log_errors(self.path), self.engine.connect() as c:
            return tuple(as_lot(row) for row in rows_of(c, schema.lots))

    def lot(self, lot: int | str) -> LoggedLot:
        """One lot by its number or name."""
        with log_errors(self.path), self.engine.connect() as c:
            return as_lot(lot_row(c, lot))

    def entries(self, lot: int | str) -> Contents:
        """All entries of one lot."""
        with log_errors(self.path), self.engine.connect() as c:
            return contents_of(c, lot_row(c, lot)["id"])

    def contents(self) -> Contents:
        """All entries of the log, consistently read."""
        with log_errors(self.path), self.engine.connect() as c:
            return contents_of(c, None)


def _refuse_heavier_than_boards(c: Connection, lots: Sequence[int], mass_mg: float) -> None:
    purchases = in_force(as_purchase(row) for row in rows_of(c, schema.purchases))
    bought = [p for p in purchases if p.lot_id in lots]
    known = {p.lot_id for p in bought if p.mass_g is not None}
    boards_mg = 1e3 * sum(p.mass_g or 0.0 for p in bought)
    if lots and known == set(lots) and mass_mg > boards_mg:
        raise UsageError(
            "gold-heavier-than-boards",
            f"{in_digits(mass_mg, 6)} mg of gold cannot come from {in_digits(boards_mg, 6)} mg of boards.",
            "Check the unit of the gold and of the boards, and the lot.",
        )
