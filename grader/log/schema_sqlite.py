"""The log's tables in an SQLite file, as an append-only list of migrations.

A released migration is frozen: changes are new migrations at the end. ``PRAGMA user_version`` counts those
applied to a file; the table ``migrations`` says when and by which program.
"""

from __future__ import annotations

from grader.log import schema_batches, schema_lots, schema_money
from grader.log.schema import Migration

APPLICATION_ID = 0x42474C31  # "BGL1": marks a file as a log of this program, in the file's header

# Days are also checked as IS date(day, '+0 days'): it turns 30 February into 2 March, and anything else into NULL.
_TIME = "GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]T[0-9][0-9]:[0-9][0-9]:[0-9][0-9]*Z'"


def _never_rewritten(table: str, key: tuple[str, ...] = ("id",)) -> tuple[str, ...]:
    """Triggers that refuse updates and deletes; the last one stops INSERT OR REPLACE, which fires no others."""
    refuse = f"SELECT RAISE(ABORT, '{table} are kept as they were made')"
    same = " AND ".join(f"{column} = NEW.{column}" for column in key)
    is_there = f"EXISTS (SELECT 1 FROM {table} WHERE {same})"  # noqa: S608 - the names are those below
    return (
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN {refuse}; END",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN {refuse}; END",
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN {is_there} BEGIN {refuse}; END",
    )


# "{}" stands for the column's name
_WORDS = {
    "ID": "id INTEGER PRIMARY KEY AUTOINCREMENT",
    "INT": "INTEGER",
    "REAL": "REAL",
    "STRICT": " STRICT",
    "DAY": "TEXT NOT NULL CHECK ({} IS date({}, '+0 days'))",
    "TIME": f"TEXT NOT NULL CHECK ({{}} {_TIME})",
    "NAME_UNIQUE": "COLLATE NOCASE UNIQUE",
    "NAME_HAS_LETTER": "name GLOB '*[^0-9]*'",
    "PLAN_IS_JSON": "plan IS NULL OR json_valid(plan)",
    "AMOUNT": "TEXT NOT NULL CHECK ({} GLOB '[0-9]*' AND {} NOT GLOB '*[^0-9.]*' AND {} NOT GLOB '*.*.*')",
    "CURRENCY": "currency GLOB '[A-Z][A-Z][A-Z]'",
}

MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        "lots, photos, estimates, purchases, yields, offers",
        (
            f"""CREATE TABLE migrations (
                version INTEGER PRIMARY KEY,
                title TEXT NOT NULL,
                program_version TEXT NOT NULL,
                applied_at TEXT NOT NULL CHECK (applied_at {_TIME})
            ) STRICT""",
            f"""CREATE TABLE lots (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                name TEXT NOT NULL COLLATE NOCASE UNIQUE
                    CHECK (length(trim(name)) BETWEEN 1 AND 120 AND name GLOB '*[^0-9]*'),
                seller TEXT NOT NULL,
                note TEXT NOT NULL,
                created_at TEXT NOT NULL CHECK (created_at {_TIME})
            ) STRICT""",
            """CREATE TABLE photos (
                sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
                name TEXT NOT NULL,
                width_px INTEGER NOT NULL CHECK (width_px > 0),
                height_px INTEGER NOT NULL CHECK (height_px > 0),
                taken_at TEXT CHECK (taken_at GLOB '[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]T[0-9][0-9]:*')
            ) STRICT""",
            f"""CREATE TABLE estimates (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                lot_id INTEGER NOT NULL REFERENCES lots (id),
                photo_sha256 TEXT NOT NULL REFERENCES photos (sha256),
                made_at TEXT NOT NULL CHECK (made_at {_TIME}),
                program_version TEXT NOT NULL CHECK (program_version <> ''),
                document TEXT NOT NULL CHECK (json_valid(document))
            ) STRICT""",
            f"""CREATE TABLE purchases (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                lot_id INTEGER NOT NULL REFERENCES lots (id),
                logged_at TEXT NOT NULL CHECK (logged_at {_TIME}),
                price TEXT NOT NULL CHECK (
                    price GLOB '[0-9]*' AND price NOT GLOB '*[^0-9.]*' AND price NOT GLOB '*.*.*'
                ),
                currency TEXT NOT NULL CHECK (currency GLOB '[A-Z][A-Z][A-Z]'),
                mass_g REAL CHECK (mass_g > 0),
                count INTEGER CHECK (count > 0),
                bought_on TEXT NOT NULL CHECK (bought_on IS date(bought_on, '+0 days'))
            ) STRICT""",
            f"""CREATE TABLE yields (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                lot_id INTEGER NOT NULL REFERENCES lots (id),
                logged_at TEXT NOT NULL CHECK (logged_at {_TIME}),
                mass_mg REAL NOT NULL CHECK (mass_mg >= 0),
                uncertainty_mg REAL CHECK (uncertainty_mg >= 0),
                fineness REAL CHECK (fineness > 0 AND fineness <= 1),
                fineness_known TEXT CHECK (fineness_known IN ('found', 'assumed', 'assayed')),
                note TEXT NOT NULL,
                weighed_on TEXT NOT NULL CHECK (weighed_on IS date(weighed_on, '+0 days')),
                CHECK ((fineness IS NULL) = (fineness_known IS NULL))
            ) STRICT""",
            f"""CREATE TABLE offers (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                lot_id INTEGER NOT NULL REFERENCES lots (id),
                made_at TEXT NOT NULL CHECK (made_at {_TIME}),
                program_version TEXT NOT NULL CHECK (program_version <> ''),
                document TEXT NOT NULL CHECK (json_valid(document))
            ) STRICT""",
            *(
                f"CREATE INDEX {table}_by_lot ON {table} (lot_id)"
                for table in ("estimates", "purchases", "yields", "offers")
            ),
            *_never_rewritten("estimates"),
            *_never_rewritten("offers"),
        ),
    ),
    Migration(
        "kinds of boards; yields of several lots, corrected by newer ones; exclusions, marks, attachments, beliefs",
        (
            "ALTER TABLE lots ADD COLUMN part TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE yields ADD COLUMN who TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE yields ADD COLUMN carried_in_mg REAL NOT NULL DEFAULT 0 CHECK (carried_in_mg >= 0)",
            "ALTER TABLE yields ADD COLUMN lost_mg REAL NOT NULL DEFAULT 0 CHECK (lost_mg >= 0)",
            "ALTER TABLE yields ADD COLUMN corrects INTEGER REFERENCES yields (id) CHECK (corrects < id)",
            """ALTER TABLE yields ADD COLUMN reason TEXT NOT NULL DEFAULT ''
                CHECK (corrects IS NULL OR trim(reason) <> '')""",
            "CREATE UNIQUE INDEX yields_corrected_once ON yields (corrects)",
            """CREATE TABLE yield_lots (
                yield_id INTEGER NOT NULL REFERENCES yields (id),
                lot_id INTEGER NOT NULL REFERENCES lots (id),
                copies REAL NOT NULL CHECK (copies > 0),
                PRIMARY KEY (yield_id, lot_id)
            ) STRICT""",
            "INSERT INTO yield_lots (yield_id, lot_id, copies) SELECT id, lot_id, 1.0 FROM yields",
            "CREATE INDEX yield_lots_by_lot ON yield_lots (lot_id)",
            f"""CREATE TABLE exclusions (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                yield_id INTEGER NOT NULL REFERENCES yields (id),
                excluded INTEGER NOT NULL CHECK (excluded IN (0, 1)),
                reason TEXT NOT NULL CHECK (trim(reason) <> ''),
                who TEXT NOT NULL,
                logged_at TEXT NOT NULL CHECK (logged_at {_TIME})
            ) STRICT""",
            f"""CREATE TABLE marks (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                kind TEXT NOT NULL CHECK (kind IN ('process', 'reset')),
                day TEXT NOT NULL CHECK (day IS date(day, '+0 days')),
                note TEXT NOT NULL CHECK (trim(note) <> ''),
                who TEXT NOT NULL,
                logged_at TEXT NOT NULL CHECK (logged_at {_TIME})
            ) STRICT""",
            f"""CREATE TABLE attachments (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                yield_id INTEGER NOT NULL REFERENCES yields (id),
                sha256 TEXT NOT NULL CHECK (length(sha256) = 64 AND sha256 NOT GLOB '*[^0-9a-f]*'),
                name TEXT NOT NULL,
                who TEXT NOT NULL,
                logged_at TEXT NOT NULL CHECK (logged_at {_TIME})
            ) STRICT""",
            f"""CREATE TABLE beliefs (
                id INTEGER PRIMARY KEY AUTOINCREMENT,
                made_at TEXT NOT NULL CHECK (made_at {_TIME}),
                program_version TEXT NOT NULL CHECK (program_version <> ''),
                key TEXT NOT NULL CHECK (key <> ''),
                document TEXT NOT NULL CHECK (json_valid(document))
            ) STRICT""",
            *_never_rewritten("yield_lots", ("yield_id", "lot_id")),
            *(
                trigger
                for table in ("yields", "exclusions", "marks", "attachments", "beliefs")
                for trigger in _never_rewritten(table)
            ),
        ),
    ),
    Migration(
        schema_batches.TITLE,
        (
            *schema_batches.statements(_WORDS),
            *(t for table, key in schema_batches.KEYS.items() for t in _never_rewritten(table, key)),
        ),
    ),
    Migration(
        schema_money.TITLE,
        (*schema_money.statements(_WORDS), *(t for table in schema_money.KEPT for t in _never_rewritten(table))),
    ),
    Migration(
        schema_lots.TITLE,
        (*schema_lots.statements(_WORDS), *(t for table in schema_lots.KEPT for t in _never_rewritten(table))),
    ),
)
