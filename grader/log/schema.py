"""The log's tables at the newest version, for queries.

``schema_sqlite`` and ``schema_postgres`` make them, version by version; a test holds these against what they make.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Column, Float, ForeignKey, Integer, MetaData, Table, Text


@dataclass(frozen=True)
class Migration:
    """One step of the schema, run in one transaction together with its record."""

    title: str
    statements: tuple[str, ...]


_metadata = MetaData()


def _table(name: str, *columns: Column[int] | Column[str] | Column[float]) -> Table:
    return Table(name, _metadata, *columns)


def _texts(*names: str) -> tuple[Column[str], ...]:
    return tuple(Column(name, Text) for name in names)


def _of_lot() -> tuple[Column[int], Column[int]]:
    return Column("id", Integer, primary_key=True), Column("lot_id", Integer, ForeignKey("lots.id"))


lots = _table(
    "lots",
    Column("id", Integer, primary_key=True),
    *_texts("name", "seller", "note", "created_at", "part"),
    Column("archived", Integer),
)
lot_changes = _table(
    "lot_changes",
    *_of_lot(),
    *_texts("name", "seller", "part", "note"),
    Column("archived", Integer),
    *_texts("who", "logged_at"),
)
photos = _table(
    "photos",
    Column("sha256", Text, primary_key=True),
    *_texts("name"),
    Column("width_px", Integer),
    Column("height_px", Integer),
    *_texts("taken_at"),
)
estimates = _table(
    "estimates",
    *_of_lot(),
    Column("photo_sha256", Text, ForeignKey("photos.sha256")),
    *_texts("made_at", "program_version", "document"),
)
purchases = _table(
    "purchases",
    *_of_lot(),
    *_texts("logged_at", "price", "currency"),
    Column("mass_g", Float),
    Column("count", Integer),
    *_texts("bought_on", "note", "who"),
    Column("corrects", Integer, ForeignKey("purchases.id")),
    *_texts("reason"),
)
money = _table(
    "money",
    *_of_lot(),
    *_texts("kind", "what", "amount", "charges", "currency"),
    Column("gold_mg", Float),
    *_texts("day", "note", "who", "logged_at"),
    Column("corrects", Integer, ForeignKey("money.id")),
    *_texts("reason"),
)
yields = _table(
    "yields",
    *_of_lot(),
    *_texts("logged_at"),
    Column("mass_mg", Float),
    Column("uncertainty_mg", Float),
    Column("fineness", Float),
    *_texts("fineness_known", "note", "weighed_on", "who"),
    Column("carried_in_mg", Float),
    Column("lost_mg", Float),
    Column("corrects", Integer, ForeignKey("yields.id")),
    *_texts("reason"),
)
yield_lots = _table(
    "yield_lots",
    Column("yield_id", Integer, ForeignKey("yields.id"), primary_key=True),
    Column("lot_id", Integer, ForeignKey("lots.id"), primary_key=True),
    Column("copies", Float),
)
exclusions = _table(
    "exclusions",
    Column("id", Integer, primary_key=True),
    Column("yield_id", Integer, ForeignKey("yields.id")),
    Column("excluded", Integer),
    *_texts("reason", "who", "logged_at"),
)
marks = _table(
    "marks",
    Column("id", Integer, primary_key=True),
    *_texts("kind", "day", "note", "who", "logged_at"),
)
attachments = _table(
    "attachments",
    Column("id", Integer, primary_key=True),
    Column("yield_id", Integer, ForeignKey("yields.id")),
    *_texts("sha256", "name", "who", "logged_at"),
)
beliefs = _table(
    "beliefs",
    Column("id", Integer, primary_key=True),
    *_texts("made_at", "program_version", "key", "document"),
)
offers = _table(
    "offers",
    *_of_lot(),
    *_texts("made_at", "program_version", "document"),
)


def _of_batch() -> tuple[Column[int], Column[int]]:
    return Column("id", Integer, primary_key=True), Column("batch_id", Integer, ForeignKey("batches.id"))


def _written() -> tuple[Column[str], ...]:
    return _texts("note", "who", "logged_at")


batches = _table(
    "batches",
    Column("id", Integer, primary_key=True),
    *_texts("name", "started_on", "note", "who", "plan", "logged_at"),
)
batch_loads = _table(
    "batch_loads",
    *_of_batch(),
    *_texts("vessel"),
    Column("mass_g", Float),
    *_texts("loaded_on"),
    *_written(),
)
load_lots = _table(
    "load_lots",
    Column("load_id", Integer, ForeignKey("batch_loads.id"), primary_key=True),
    Column("lot_id", Integer, ForeignKey("lots.id"), primary_key=True),
    Column("copies", Float),
)
batch_amounts = _table(
    "batch_amounts",
    *_of_batch(),
    *_texts("kind", "what"),
    Column("amount", Float),
    *_texts("unit"),
    *_written(),
)
batch_tests = _table(
    "batch_tests",
    *_of_batch(),
    *_texts("what", "result", "sample", "tested_on"),
    *_written(),
)
carry_overs = _table(
    "carry_overs",
    *_of_batch(),
    Column("lot_id", Integer, ForeignKey("lots.id")),
    Column("copies", Float),
    Column("left_mg", Float),
    Column("left_uncertainty_mg", Float),
    *_written(),
)
load_carried = _table(
    "load_carried",
    Column("carry_id", Integer, ForeignKey("carry_overs.id"), primary_key=True),
    Column("load_id", Integer, ForeignKey("batch_loads.id"), primary_key=True),
)
batch_yields = _table(
    "batch_yields",
    Column("yield_id", Integer, ForeignKey("yields.id"), primary_key=True),
    Column("batch_id", Integer, ForeignKey("batches.id")),
)
batch_strikes = _table(
    "batch_strikes",
    Column("id", Integer, primary_key=True),
    *_texts("kind"),
    Column("entry_id", Integer),
    *_texts("reason", "who", "logged_at"),
)
