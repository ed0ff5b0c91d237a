"""Yields from a CSV file: all rows read and checked before any is written."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from calibration.errors import DataFileError, GraderError, UsageError
from calibration.notices import Notice
from grader.learn.questions import Asker
from grader.log import Contents, LoggedLot, NewYield, checked, folded
from grader.units import parse_fineness, parse_weighed_mg

COLUMNS = (
    *("lot", "mass", "weighed_on", "uncertainty", "fineness", "fineness_known"),
    *("copies", "carried_in", "lost", "note", "who"),
)
_NEEDED = ("lot", "mass", "weighed_on")
_MAX_ROWS = 10_000


@dataclass(frozen=True)
class CsvRow:
    """One row of the file.

    Attributes:
        line: of the file, where the row ends.
        texts: as read.
        lot: found in the log; None if the row is wrong.
        new: the yield; None likewise.
        copies: how many times the lot's photographed boards went in.
        problem: what is wrong, or None.
        questions: what looks wrong and may be right.
    """

    line: int
    texts: Mapping[str, str]
    lot: LoggedLot | None
    new: NewYield | None
    copies: float
    problem: GraderError | None
    questions: tuple[Notice, ...] = ()


def read_csv(text: str, contents: Contents, today: date | None = None) -> tuple[CsvRow, ...]:
    """All rows, right or wrong.

    Args:
        text: CSV with a header: ``lot``, ``mass`` and ``weighed_on``, and any other of ``COLUMNS``. Masses carry
        their
            unit. Commas or semicolons part the cells.
        contents: the log, to find the lots and to tell what is in it already.
        today: the day of the user's calendar; that of this machine if left out.

    Raises:
        DataFileError: the file as a whole cannot be read: no header, a column missing or unknown, no rows.
    """
    head = text.removeprefix("\ufeff").partition("\n")[0]
    delimiter = ";" if head.count(";") > head.count(",") else ","
    reader = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""), delimiter=delimiter, strict=True)
    try:
        columns = [name.strip().lower() for name in reader.fieldnames or ()]
        _check_columns(columns)
        reader.fieldnames = columns
        names = {folded(lot.name): lot for lot in reversed(contents.lots)}
        lots = names | {str(lot.id): lot for lot in contents.lots} | {lot.name: lot for lot in contents.lots}
        known = {(y.lot_id, y.mass_mg, y.weighed_on) for y in contents.current_yields()}
        asker = Asker(contents, date.today() if today is None else today)
        rows: list[CsvRow] = []
        for cells in reader:
            row = _row(reader.line_num, cells, lots)
            if row.lot is not None and row.new is not None:
                same = (row.lot.id, row.new.mass_mg, row.new.weighed_on)
                row = row if same not in known else _wrong(row.line, row.texts, _TWICE)
                known.add(same)
            if row.lot is not None and row.new is not None:
                row = replace(row, questions=asker.of_yield(row.new, {row.lot.id: row.copies}))
            rows.append(row)
            if len(rows) > _MAX_ROWS:
                raise _invalid(f"more than {_MAX_ROWS} rows")
    except csv.Error as error:
        raise _invalid(f"line {reader.line_num}: {error}") from error
    if not rows:
        raise _invalid("no rows")
    return tuple(rows)


def questions_of(rows: tuple[CsvRow, ...]) -> tuple[Notice, ...]:
    """Doubts about valid rows, each with its line."""
    return tuple(replace(each, message=f"Line {row.line}: {each.message}") for row in rows for each in row.questions)


def entries(rows: tuple[CsvRow, ...]) -> tuple[tuple[int | str, NewYield, float], ...]:
    """The entries for ``Log.add_yields``, from valid rows.

    Raises:
        UsageError: a row is wrong; nothing should be written then.
    """
    wrong = [row for row in rows if row.problem is not None]
    if wrong:
        first = wrong[0].problem
        raise UsageError(
            "csv-rows-wrong",
            f"{len(wrong)} of {len(rows)} rows cannot be imported; the first is line "
            f"{wrong[0].line}: {first.message if first else ''}",
            "Correct them and import the file again; nothing was written.",
        )
    return tuple((row.lot.id, row.new, row.copies) for row in rows if row.lot is not None and row.new is not None)


_TWICE = UsageError(
    "yield-twice",
    "This yield is already in the log, or earlier in the file.",
    "Take the row out, or correct its day or mass.",
)


def _row(line: int, cells: Mapping[str | None, str | list[str] | None], lots: Mapping[str, LoggedLot]) -> CsvRow:
    texts = {str(k): v.strip() for k, v in cells.items() if k is not None and isinstance(v, str)}
    try:
        if None in cells or None in cells.values():
            raise UsageError(
                "csv-cells",
                "The row has more or fewer cells than the header.",
                "Put text that holds commas in quotes.",
            )
        lot = lots.get(texts["lot"]) or lots.get(folded(texts["lot"]))
        if lot is None:
            raise UsageError(
                "lot-unknown",
                f"There is no lot '{texts['lot']}' in the log.",
                "Start the lot first, or choose one that is in the log.",
            )
        return CsvRow(line, texts, lot, _new(texts), _number(texts.get("copies") or "1"), None)
    except GraderError as error:
        return _wrong(line, texts, error)


def _wrong(line: int, texts: Mapping[str, str], problem: GraderError) -> CsvRow:
    return CsvRow(line, texts, None, None, 1.0, problem)


def _new(texts: Mapping[str, str]) -> NewYield:
    def mass(name: str) -> float | None:
        return parse_weighed_mg(texts[name]) if texts.get(name) else None

    fineness = texts.get("fineness")
    return checked(
        NewYield,
        mass_mg=parse_weighed_mg(texts["mass"]),
        uncertainty_mg=mass("uncertainty"),
        fineness=parse_fineness(fineness) if fineness else None,
        fineness_known=(texts.get("fineness_known") or "assumed") if fineness else None,
        carried_in_mg=mass("carried_in") or 0.0,
        lost_mg=mass("lost") or 0.0,
        note=texts.get("note", ""),
        who=texts.get("who", ""),
        weighed_on=_day(texts["weighed_on"]),
    )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise UsageError(
            "date-unreadable", f"'{text}' is not a date.", "Write it as year-month-day, such as 2026-11-20."
        ) from error


def _number(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        number = 0.0
    if not 0 < number < 1e6:
        raise UsageError(
            "copies-invalid", f"'{text}' is not a number of copies.", "Give a number above 0, such as 1 or 2.5."
        )
    return number


def _check_columns(names: list[str]) -> None:
    missing = [name for name in _NEEDED if name not in names]
    unknown = [name for name in names if name not in COLUMNS]
    if missing or unknown or len(set(names)) != len(names):
        why = f"the column {missing[0]} is missing" if missing else f"unknown or doubled columns {unknown or names}"
        raise _invalid(why)


def _invalid(why: str) -> DataFileError:
    return DataFileError(
        "csv-invalid",
        f"The CSV file cannot be read: {why}.",
        f"Give a header of {', '.join(COLUMNS)}; the first three must be there.",
    )
