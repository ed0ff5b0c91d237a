"""The log as text: one JSON document with everything, or one table as CSV. Does no input or output."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Literal, get_args

from calibration.errors import DataFileError
from grader.log.batch_model import Struck
from grader.log.entry import utc_text
from grader.log.model import Contents
from grader.measured import Measured
from grader.spreadsheet import csv_cell

TableName = Literal[
    "lots",
    "photos",
    "estimates",
    "purchases",
    "yields",
    "offers",
    "yield_lots",
    "exclusions",
    "marks",
    "attachments",
    "beliefs",
    "batches",
    "batch_loads",
    "load_lots",
    "batch_amounts",
    "batch_tests",
    "carry_overs",
    "load_carried",
    "batch_yields",
    "batch_strikes",
    "money",
    "lot_changes",
]
TABLES: tuple[TableName, ...] = get_args(TableName)
JSON_SCHEMA = 1

_ESTIMATED = ("plated_area_mm2", "gold_mg")
_OF_ESTIMATE = tuple(f"{name}{end}" for name in _ESTIMATED for end in ("", "_low", "_high", "_level"))
COLUMNS: Mapping[TableName, tuple[str, ...]] = {
    "lots": ("id", "name", "seller", "part", "note", "created_at", "archived"),
    "photos": ("sha256", "name", "width_px", "height_px", "taken_at"),
    "estimates": ("id", "lot_id", "lot", "photo_sha256", "photo", "made_at", "program_version", *_OF_ESTIMATE),
    "purchases": (
        *("id", "lot_id", "lot", "logged_at", "price", "currency", "mass_g", "count", "bought_on"),
        *("note", "who", "corrects", "reason"),
    ),
    "yields": (
        *("id", "lot_id", "lot", "logged_at", "mass_mg", "uncertainty_mg"),
        *("fineness", "fineness_known", "note", "weighed_on"),
        *("who", "carried_in_mg", "lost_mg", "corrects", "reason"),
    ),
    "offers": ("id", "lot_id", "lot", "made_at", "program_version", "highest_price", "currency"),
    "yield_lots": ("yield_id", "lot_id", "lot", "copies"),
    "exclusions": ("id", "yield_id", "excluded", "reason", "who", "logged_at"),
    "marks": ("id", "kind", "day", "note", "who", "logged_at"),
    "attachments": ("id", "yield_id", "sha256", "name", "who", "logged_at"),
    "beliefs": ("id", "made_at", "program_version", "key"),
    "batches": ("id", "name", "started_on", "note", "who", "logged_at"),
    "batch_loads": ("id", "batch_id", "vessel", "mass_g", "loaded_on", "note", "who", "logged_at"),
    "load_lots": ("load_id", "lot_id", "lot", "copies"),
    "batch_amounts": ("id", "batch_id", "kind", "what", "amount", "unit", "note", "who", "logged_at"),
    "batch_tests": ("id", "batch_id", "what", "result", "sample", "tested_on", "note", "who", "logged_at"),
    "carry_overs": (
        *("id", "batch_id", "lot_id", "lot", "copies", "left_mg", "left_uncertainty_mg"),
        *("note", "who", "logged_at"),
    ),
    "load_carried": ("carry_id", "load_id"),
    "batch_yields": ("yield_id", "batch_id"),
    "batch_strikes": ("id", "kind", "entry_id", "reason", "who", "logged_at"),
    "money": (
        *("id", "lot_id", "lot", "kind", "what", "amount", "charges", "currency", "gold_mg", "day"),
        *("note", "who", "logged_at", "corrects", "reason"),
    ),
    "lot_changes": ("id", "lot_id", "lot", "name", "seller", "part", "note", "archived", "who", "logged_at"),
}
# where ``Contents.batches`` keeps a table's rows
_BATCH_FIELDS: Mapping[str, str] = {
    "batches": "batches",
    "batch_loads": "loads",
    "load_lots": "load_lots",
    "batch_amounts": "amounts",
    "batch_tests": "tests",
    "carry_overs": "carry_overs",
    "load_carried": "load_carried",
    "batch_yields": "yields",
    "batch_strikes": "strikes",
}
# where the entries lie that a strike of this kind strikes out
_STRUCK_TABLES: Mapping[Struck, str] = {
    "load": "batch_loads",
    "amount": "batch_amounts",
    "test": "batch_tests",
    "carry-over": "carry_overs",
}


def to_json(contents: Contents) -> str:
    """The whole log as one JSON document: one array per table, money as decimal text, times in UTC."""
    tables = {table: [_plain(row) for row in _rows(contents, table)] for table in TABLES}
    return json.dumps({"schema": JSON_SCHEMA, **tables}, ensure_ascii=False, allow_nan=False) + "\n"


def batches_as_json(contents: Contents, batch_id: int | None = None) -> dict[str, Any]:
    """Only the tables of batches, one array per table, for one batch or for all."""
    tables: dict[str, Any] = {
        table: [_plain(asdict(row)) for row in getattr(contents.batches, field)]
        for table, field in _BATCH_FIELDS.items()
    }
    if batch_id is None:
        return tables
    kept = {table: [row for row in rows if row.get("batch_id") == batch_id] for table, rows in tables.items()}
    kept["batches"] = [row for row in tables["batches"] if row["id"] == batch_id]
    loads = {row["id"] for row in kept["batch_loads"]}
    for table in ("load_lots", "load_carried"):
        kept[table] = [row for row in tables[table] if row["load_id"] in loads]
    own = {kind: {row["id"] for row in kept[table]} for kind, table in _STRUCK_TABLES.items()}
    kept["batch_strikes"] = [row for row in tables["batch_strikes"] if row["entry_id"] in own[row["kind"]]]
    return kept


def to_csv(contents: Contents, table: TableName) -> str:
    """One table as CSV (RFC 4180, with a header).

    Documents are only in the JSON export; CSV gives the plated area and gold of an estimate, and the
    highest price of an offer. Text that a spreadsheet would run as a formula is prefixed with an apostrophe.
    """
    names = {lot.id: lot.name for lot in contents.lots}
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(COLUMNS[table])
    for row in _rows(contents, table):
        cells = {**_plain(row), "lot": names.get(row.get("lot_id", 0)), **_figures(table, row)}
        writer.writerow([csv_cell(cells.get(column)) for column in COLUMNS[table]])
    return text.getvalue()


def _rows(contents: Contents, table: TableName) -> list[dict[str, Any]]:
    if table == "photos":
        return [photo.model_dump() for photo in contents.photos]
    place = contents.batches if table in _BATCH_FIELDS else contents
    return [asdict(row) for row in getattr(place, _BATCH_FIELDS.get(table, table))]


def _plain(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row as JSON types."""
    return {name: _plain_value(value) for name, value in row.items()}


def _plain_value(value: Any) -> Any:
    match value:
        case datetime() if value.tzinfo is not None:
            return utc_text(value)
        case date():
            return value.isoformat()
        case Decimal():
            return format(value, "f")
    return value


def _figures(table: TableName, row: Mapping[str, Any]) -> dict[str, Any]:
    """The main figures of a row's measurement or offer, if present."""
    if table == "estimates":
        return _of_measurement(row["document"])
    if table == "offers":
        highest, currency = (row["document"].get(key) for key in ("highest_price", "currency"))
        return {"highest_price": highest.get("price"), "currency": currency} if isinstance(highest, Mapping) else {}
    return {}


def _of_measurement(document: Mapping[str, Any]) -> dict[str, Any]:
    """Photo, plated area and gold; empty if the measurement cannot be read (the JSON export still contains it)."""
    try:
        measured = Measured.from_dict(document)
    except DataFileError:
        return {}
    found: dict[str, Any] = {"photo": measured.photo}
    for name, value in zip(_ESTIMATED, (measured.plated_area_mm2, measured.gold_mg), strict=True):
        if value is not None:
            found |= {name: value.value, f"{name}_low": value.low, f"{name}_high": value.high}
            found[f"{name}_level"] = value.level
    return found
