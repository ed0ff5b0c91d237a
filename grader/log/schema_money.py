"""The fourth version of the log's tables: money of lots, and purchases that can be corrected."""

from __future__ import annotations

from grader.log import schema_batches

TITLE = "money of lots: costs, sales, settlements; purchases corrected by newer ones"
KEPT = ("purchases", "money")  # tables whose rows are never rewritten

_STATEMENTS = """
ALTER TABLE purchases ADD COLUMN note TEXT NOT NULL DEFAULT '';
ALTER TABLE purchases ADD COLUMN who TEXT NOT NULL DEFAULT '';
ALTER TABLE purchases ADD COLUMN corrects {INT} REFERENCES purchases (id) CHECK (corrects < id);
ALTER TABLE purchases ADD COLUMN reason TEXT NOT NULL DEFAULT '' CHECK (corrects IS NULL OR trim(reason) <> '');
CREATE UNIQUE INDEX purchases_corrected_once ON purchases (corrects);
CREATE TABLE money (
    {ID},
    lot_id {INT} NOT NULL REFERENCES lots (id),
    kind TEXT NOT NULL CHECK (kind IN ('cost', 'sale', 'settlement')),
    what TEXT NOT NULL CHECK (kind = 'settlement' OR trim(what) <> ''),
    amount {AMOUNT},
    charges {AMOUNT},
    currency TEXT NOT NULL CHECK ({CURRENCY}),
    gold_mg {REAL} CHECK (gold_mg > 0),
    day {DAY},
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    logged_at {TIME},
    corrects {INT} REFERENCES money (id) CHECK (corrects < id),
    reason TEXT NOT NULL CHECK (corrects IS NULL OR trim(reason) <> ''),
    CHECK (kind = 'settlement' OR (charges = '0' AND gold_mg IS NULL))
){STRICT};
CREATE INDEX money_by_lot ON money (lot_id);
CREATE UNIQUE INDEX money_corrected_once ON money (corrects);
"""


def statements(words: dict[str, str]) -> tuple[str, ...]:
    """The tables in one database's dialect, from words as for ``schema_batches.statements``, with ``AMOUNT``."""
    return schema_batches.in_words(_STATEMENTS, words)
