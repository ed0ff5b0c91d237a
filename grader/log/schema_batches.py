"""The third version of the log's tables: the record of batches, for files and for servers."""

from __future__ import annotations

TITLE = "batches: loads, amounts, tests, boards carried over, yields of batches, strikes"

# tables and what tells two rows of each apart
KEYS = {
    "batches": ("id",),
    "batch_loads": ("id",),
    "load_lots": ("load_id", "lot_id"),
    "batch_amounts": ("id",),
    "batch_tests": ("id",),
    "carry_overs": ("id",),
    "load_carried": ("carry_id", "load_id"),
    "batch_yields": ("yield_id",),
    "batch_strikes": ("id",),
}

_COLUMNS = ("AMOUNT", "DAY", "TIME")  # words that define a whole column
_UNITS = "('ml', 'g', 'h', 'pieces')"
_TABLES = """
CREATE TABLE batches (
    {ID},
    name TEXT NOT NULL {NAME_UNIQUE} CHECK (length(trim(name)) BETWEEN 1 AND 120 AND {NAME_HAS_LETTER}),
    started_on {DAY},
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    plan TEXT CHECK ({PLAN_IS_JSON}),
    logged_at {TIME}
){STRICT};
CREATE TABLE batch_loads (
    {ID},
    batch_id {INT} NOT NULL REFERENCES batches (id),
    vessel TEXT NOT NULL,
    mass_g {REAL} CHECK (mass_g > 0),
    loaded_on {DAY},
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    logged_at {TIME}
){STRICT};
CREATE TABLE load_lots (
    load_id {INT} NOT NULL REFERENCES batch_loads (id),
    lot_id {INT} NOT NULL REFERENCES lots (id),
    copies {REAL} NOT NULL CHECK (copies > 0),
    PRIMARY KEY (load_id, lot_id)
){STRICT};
CREATE TABLE batch_amounts (
    {ID},
    batch_id {INT} NOT NULL REFERENCES batches (id),
    kind TEXT NOT NULL CHECK (kind IN ('used', 'out')),
    what TEXT NOT NULL CHECK (trim(what) <> ''),
    amount {REAL} NOT NULL CHECK (amount > 0),
    unit TEXT NOT NULL CHECK (unit IN {UNITS}),
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    logged_at {TIME}
){STRICT};
CREATE TABLE batch_tests (
    {ID},
    batch_id {INT} NOT NULL REFERENCES batches (id),
    what TEXT NOT NULL CHECK (trim(what) <> ''),
    result TEXT NOT NULL CHECK (result IN ('negative', 'positive', 'unclear')),
    sample TEXT NOT NULL,
    tested_on {DAY},
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    logged_at {TIME}
){STRICT};
CREATE TABLE carry_overs (
    {ID},
    batch_id {INT} NOT NULL REFERENCES batches (id),
    lot_id {INT} NOT NULL REFERENCES lots (id),
    copies {REAL} NOT NULL CHECK (copies > 0),
    left_mg {REAL} CHECK (left_mg >= 0),
    left_uncertainty_mg {REAL} CHECK (left_uncertainty_mg >= 0),
    note TEXT NOT NULL,
    who TEXT NOT NULL,
    logged_at {TIME},
    CHECK ((left_mg IS NULL) = (left_uncertainty_mg IS NULL))
){STRICT};
CREATE TABLE load_carried (
    carry_id {INT} NOT NULL REFERENCES carry_overs (id),
    load_id {INT} NOT NULL REFERENCES batch_loads (id),
    PRIMARY KEY (carry_id, load_id)
){STRICT};
CREATE TABLE batch_yields (
    yield_id {INT} PRIMARY KEY REFERENCES yields (id),
    batch_id {INT} NOT NULL REFERENCES batches (id)
){STRICT};
CREATE TABLE batch_strikes (
    {ID},
    kind TEXT NOT NULL CHECK (kind IN ('load', 'amount', 'test', 'carry-over')),
    entry_id {INT} NOT NULL,
    reason TEXT NOT NULL CHECK (trim(reason) <> ''),
    who TEXT NOT NULL,
    logged_at {TIME},
    UNIQUE (kind, entry_id)
){STRICT};
"""


def statements(words: dict[str, str]) -> tuple[str, ...]:
    """The tables in one database's dialect.

    Args:
        words: replacements for names in braces; ``AMOUNT``, ``DAY`` and ``TIME`` define a column, in which ``{}``
            is its name.
    """
    return in_words(_TABLES.replace("{UNITS}", _UNITS), words)


def in_words(tables: str, words: dict[str, str]) -> tuple[str, ...]:
    """Statements in one database's dialect: see ``statements``."""
    lines = []
    for line in tables.splitlines():
        name = line.split()[0] if line.strip() else ""
        whole = line
        for word, text in words.items():
            whole = whole.replace(f"{{{word}}}", text.replace("{}", name) if word in _COLUMNS else text)
        lines.append(whole)
    return tuple(s.strip() for s in "\n".join(lines).split(";") if s.strip())
