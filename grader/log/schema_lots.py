"""The fifth version of the log's tables: renamed and archived lots, with their history."""

from __future__ import annotations

from grader.log import schema_batches

TITLE = "lots renamed or archived, and what they were before"
KEPT = ("lot_changes",)  # tables whose rows are never rewritten

_STATEMENTS = """
ALTER TABLE lots ADD COLUMN archived {INT} NOT NULL DEFAULT 0 CHECK (archived IN (0, 1));
CREATE TABLE lot_changes (
    {ID},
    lot_id {INT} NOT NULL REFERENCES lots (id),
    name TEXT NOT NULL CHECK (trim(name) <> ''),
    seller TEXT NOT NULL,
    part TEXT NOT NULL,
    note TEXT NOT NULL,
    archived {INT} NOT NULL CHECK (archived IN (0, 1)),
    who TEXT NOT NULL,
    logged_at {TIME}
){STRICT};
CREATE INDEX lot_changes_by_lot ON lot_changes (lot_id);
"""


def statements(words: dict[str, str]) -> tuple[str, ...]:
    """The tables in one database's dialect, from words as for ``schema_batches.statements``."""
    return schema_batches.in_words(_STATEMENTS, words)
