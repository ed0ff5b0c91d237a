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
    Column("name", Text),
    Column("width_px", Integer),
    Column("height_px", Integer),
    Column("taken_at", Text),
)
estimates = _table(
    "estimates",
    *_of_lot(),
    Column("photo_sha256", Text, ForeignKey("photos.sha256")),
    Column("made_at", Text),
    Column("program_version", Text),
    Column("document", Text),
)
purchases = _table(
    "purchases",
    *_of_lot(),
    Column("logged_at", Text),
    Column("price", Text),
    Column("currency", Text),
    Column("mass_g", Float),
    Column("count", Integer),
    *_texts("bought_on", "note", "who"),
    Column("corrects", Integer, ForeignKey("purchases.id")),
    Column("reason", Text),
)
money = _table(
    "money",
    *_of_lot(),
    *_texts("kind", "what", "amount", "charges", "currency"),
    Column("gold_mg", Float),
    *_texts("day", "note", "who", "logged_at"),
    Column("corrects", Integer, ForeignKey("money.id")),
    Column("reason", Text),
)
yields = _table(
    "yields",
    *_of_lot(),
    Column("logged_at", Text),
    Column("mass_mg", Float),
    Column("uncertainty_mg", Float),
    Column("fineness", Float),
    Column("fineness_known", Text),
    Column("note", Text),
    Column("weighed_on", Text),
    Column("who", Text),
    Column("carried_in_mg", Float),
    Column("lost_mg", Float),
    Column("corrects", Integer, ForeignKey("yields.id")),
    Column("reason", Text),
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
    Column("reason", Text),
    Column("who", Text),
    Column("logged_at", Text),
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
    Column("sha256", Text),
    Column("name", Text),
    Column("who", Text),
    Column("logged_at", Text),
)
beliefs = _table(
    "beliefs",
    Column("id", Integer, primary_key=True),
    *_texts("made_at", "program_version", "key", "document"),
)
offers = _table(
    "offers",
    *_of_lot(),
    Column("made_at", Text),
    Column("program_version", Text),
    Column("document", Text),
)


def _of_batch() -> tuple[Column[int], Column[int]]:
    return Column("id", Integer, primary_key=True), Column("batch_id", Integer, ForeignKey("batches.id"))


def _written() -> tuple[Column[str], ...]:
    return _texts("note", "who", "logged_at")


batches = _table(
    "batches",
    Column("id", Integer, primary_key=True),
    Column("name", Text),
    Column("started_on", Text),
    Column("note", Text),
    Column("who", Text),
    Column("plan", Text),
    Column("logged_at", Text),
)
batch_loads = _table(
    "batch_loads",
    *_of_batch(),
    Column("vessel", Text),
    Column("mass_g", Float),
    Column("loaded_on", Text),
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
    Column("kind", Text),
    Column("what", Text),
    Column("amount", Float),
    Column("unit", Text),
    *_written(),
)
batch_tests = _table(
    "batch_tests",
    *_of_batch(),
    Column("what", Text),
    Column("result", Text),
    Column("sample", Text),
    Column("tested_on", Text),
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
    Column("kind", Text),
    Column("entry_id", Integer),
    Column("reason", Text),
    Column("who", Text),
    Column("logged_at", Text),
)
