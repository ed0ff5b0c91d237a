"""The log: entries in and out, constraints, and estimates that stay as they were made."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import inspect
from sqlalchemy.exc import DBAPIError

from calibration.errors import LogError, UsageError
from grader.log import (
    Log,
    NewLot,
    NewPurchase,
    NewYield,
    PhotoRecord,
    checked,
    open_log,
    photo_of,
    schema,
    schema_sqlite,
)
from grader.version import __version__

DOCUMENT: dict[str, Any] = {
    "schema": 1,
    "photo": "naïve 照.jpg",
    "sha256": "ab" * 32,
    "width_px": 400,
    "height_px": 300,
    "gold_mg": {"value": 5.1, "low": 2.2, "high": 8.0, "level": 0.9},
    "boards": [{"outline_px": [[0.1, 2], [3, 4]]}],
    "warnings": [],
}

ESTIMATE = "INSERT INTO estimates (lot_id, photo_sha256, made_at, program_version, document) VALUES"
YIELD = (
    "INSERT INTO yields (logged_at, note, weighed_on, lot_id, mass_mg, fineness, fineness_known, corrects, reason)"
    " VALUES ('2026-01-01T00:00:00Z', '', '2026-01-01', {})"
)
REFUSED = (sqlite3.IntegrityError, DBAPIError)


def new_yield(values: str) -> str:
    return YIELD.format(values.strip("()"))


def purchase(**changes: Any) -> NewPurchase:
    return checked(NewPurchase, **{"price": "120.50", "currency": "USD", "bought_on": date(2026, 2, 3), **changes})


def gold(**changes: Any) -> NewYield:
    return checked(NewYield, **{"mass_mg": 1250.0, "weighed_on": date(2026, 5, 6), **changes})


def raw(log: Log, statement: str) -> list[Any]:
    """As another program would reach into the log: without our settings but for foreign keys."""
    if isinstance(log.path, str):
        with log.engine.begin() as c:
            done = c.exec_driver_sql(statement)
            return [tuple(row) for row in done] if done.returns_rows else []
    with closing(sqlite3.connect(log.path)) as connection, connection:
        connection.execute("PRAGMA foreign_keys = ON")
        return connection.execute(statement).fetchall()


def test_lots(log: Log):
    first = log.add_lot(checked(NewLot, name=" Shed lot ", seller="the man at the market", note="two crates"))
    assert (first.id, first.name, first.seller, first.note) == (1, "Shed lot", "the man at the market", "two crates")
    assert first.created_at == datetime(
        2026, 3, 4, 5, 6, 8 + len(schema_sqlite.MIGRATIONS), tzinfo=UTC
    )  # first ticks: migrations
    second = log.add_lot(checked(NewLot, name="Attic"))
    assert log.lots() == (first, second)
    assert log.lot("shed LOT") == log.lot(1) == first
    with pytest.raises(UsageError, match="already"):
        log.add_lot(checked(NewLot, name="SHED LOT"))
    for unknown in (3, "cellar", "", "1"):
        with pytest.raises(UsageError) as caught:
            log.lot(unknown)
        assert caught.value.code == "lot-unknown"


@pytest.mark.parametrize("name", ["", "  ", "12", "12-3", "n" * 121, "a\nb", "a\x1b[0m"])
def test_names_that_no_lot_can_have(name):
    with pytest.raises(UsageError) as caught:
        checked(NewLot, name=name)
    assert caught.value.code == "entry-invalid"
    assert "name" in caught.value.message


def test_estimates_keep_the_whole_document(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    made = log.add_estimate("Shed", photo_of(DOCUMENT), DOCUMENT)
    assert made.document == DOCUMENT
    assert made.program_version == __version__
    assert made.photo_sha256 == "ab" * 32
    entries = log.entries("Shed")
    assert entries.estimates == (made,)
    assert entries.photos == (PhotoRecord(sha256="ab" * 32, name="naïve 照.jpg", width_px=400, height_px=300),)


def test_a_photo_measured_again_counts_once_and_both_estimates_stay(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    log.add_lot(checked(NewLot, name="Attic"))
    first = log.add_estimate("Shed", photo_of(DOCUMENT), DOCUMENT)
    again = log.add_estimate("Shed", photo_of(DOCUMENT), {**DOCUMENT, "gold_mg": None})
    elsewhere = log.add_estimate("Attic", photo_of(DOCUMENT), DOCUMENT)
    assert log.entries("Shed").estimates == (first, again)
    assert log.entries("Shed").latest_estimates() == (again,)
    assert log.contents().latest_estimates() == (again, elsewhere)
    assert len(log.contents().photos) == 1


def test_several_estimates_are_logged_all_or_none(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    photo = photo_of(DOCUMENT)
    with pytest.raises(UsageError, match="JSON"):
        log.add_estimates("Shed", [(photo, DOCUMENT), (photo, {"gold": float("nan")})])
    with pytest.raises(UsageError, match="no lot"):
        log.add_estimates("Nowhere", [(photo, DOCUMENT)])
    bad = PhotoRecord.model_construct(sha256="not hexadecimal", name="x", width_px=1, height_px=1, taken_at=None)
    with pytest.raises(LogError):
        log.add_estimates("Shed", [(photo, DOCUMENT), (bad, DOCUMENT)])
    assert log.contents().estimates == ()
    assert log.contents().photos == ()


@pytest.mark.parametrize("missing", ["sha256", "photo", "width_px", "height_px"])
def test_a_document_must_name_its_photo(missing):
    with pytest.raises(UsageError) as caught:
        photo_of({key: value for key, value in DOCUMENT.items() if key != missing})
    assert caught.value.code == ("measurement-invalid" if missing == "photo" else "entry-invalid")


def test_money_stays_exact(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    for price in ("0.1", "120.50", "1E+3", "0", "99999999999999999.99"):
        logged = log.add_purchase("Shed", purchase(price=price, mass_g=510.29, count=12))
        assert logged.price == Decimal(price)
        assert (logged.currency, logged.mass_g, logged.count, logged.bought_on) == (
            "USD",
            510.29,
            12,
            date(2026, 2, 3),
        )
    assert raw(log, "SELECT price FROM purchases WHERE id = 3") == [("1000",)]


@pytest.mark.parametrize(
    "changes",
    [
        {"price": "-1"},
        {"price": "NaN"},
        {"price": "Infinity"},
        {"currency": "usd"},
        {"currency": "US"},
        {"mass_g": 0},
        {"mass_g": float("inf")},
        {"count": 0},
        {"bought_on": "2026-02-30"},
        {"colour": "green"},
    ],
)
def test_purchases_that_cannot_be(changes):
    with pytest.raises(UsageError) as caught:
        purchase(**changes)
    assert caught.value.code == "entry-invalid"
    assert next(iter(changes)).split("_")[0] in caught.value.message


def test_yields(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    bare = log.add_yield("Shed", gold())
    full = log.add_yield("Shed", gold(uncertainty_mg=10, fineness=0.995, fineness_known="assayed", note="button"))
    nothing = log.add_yield("Shed", gold(mass_mg=0))
    assert (bare.fineness, bare.fineness_known, bare.uncertainty_mg) == (None, None, None)
    assert (full.fineness, full.fineness_known, full.note) == (0.995, "assayed", "button")
    assert nothing.mass_mg == 0
    assert log.entries(1).yields == (bare, full, nothing)


@pytest.mark.parametrize(
    "changes",
    [
        {"mass_mg": -1},
        {"mass_mg": float("nan")},
        {"uncertainty_mg": -0.1},
        {"fineness": 0.9},
        {"fineness_known": "found"},
        {"fineness": 0, "fineness_known": "found"},
        {"fineness": 995, "fineness_known": "found"},
        {"fineness": 0.9, "fineness_known": "guessed"},
    ],
)
def test_yields_that_cannot_be(changes):
    with pytest.raises(UsageError):
        gold(**changes)


def test_offers(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    offer = log.add_offer("Shed", {"highest_price": {"price": 80.0}, "currency": "EUR"})
    assert log.entries("Shed").offers == (offer,)


def test_entries_are_of_one_lot(log: Log):
    for name in ("Shed", "Attic"):
        log.add_lot(checked(NewLot, name=name))
        log.add_purchase(name, purchase())
        log.add_yield(name, gold())
        log.add_offer(name, {})
    log.add_estimate("Attic", photo_of(DOCUMENT), DOCUMENT)
    shed = log.entries("Shed")
    assert {row.lot_id for row in (*shed.purchases, *shed.yields, *shed.offers)} == {1}
    assert shed.photos == shed.estimates == ()


# --- the schema's own guards, for whatever reaches into the file beside this program


@pytest.mark.parametrize("table", ["estimates", "offers", "beliefs"])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {} SET document = '{{}}'",
        "UPDATE {} SET id = 7",
        "DELETE FROM {}",
        "INSERT OR REPLACE INTO {} SELECT * FROM {}",
        "REPLACE INTO {} SELECT * FROM {}",
    ],
)
def test_what_was_made_is_never_rewritten(log: Log, table, statement):
    log.add_lot(checked(NewLot, name="Shed"))
    log.add_estimate("Shed", photo_of(DOCUMENT), DOCUMENT)
    log.add_offer("Shed", DOCUMENT)
    log.add_belief("key", DOCUMENT)
    if "REPLACE" in statement and isinstance(log.path, str):
        pytest.skip("PostgreSQL knows no REPLACE")
    before = raw(log, f"SELECT * FROM {table}")
    with pytest.raises(REFUSED, match="kept as they were made"):
        raw(log, statement.format(table, table))
    assert raw(log, f"SELECT * FROM {table}") == before


@pytest.mark.parametrize(
    "statement",
    [
        "INSERT INTO lots (name, seller, note, created_at) VALUES ('12', '', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO lots (name, seller, note, created_at) VALUES ('SHED', '', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO lots (name, seller, note, created_at) VALUES ('x', '', '', 'yesterday')",
        "INSERT INTO lots (name, seller, note, created_at) VALUES ('x', NULL, '', '2026-01-01T00:00:00Z')",
        "INSERT INTO photos (sha256, name, width_px, height_px) VALUES ('XY', 'p', 1, 1)",
        "UPDATE photos SET width_px = 0",
        "UPDATE photos SET width_px = 'wide'",
        f"UPDATE photos SET sha256 = '{'cd' * 32}'",
        "DELETE FROM photos",
        "DELETE FROM lots",
        f"{ESTIMATE} (1, '{'ab' * 32}', '2026-01-01T00:00:00Z', '1', 'no json')",
        f"{ESTIMATE} (99, '{'ab' * 32}', '2026-01-01T00:00:00Z', '1', '1')",
        f"{ESTIMATE} (1, '{'cd' * 32}', '2026-01-01T00:00:00Z', '1', '1')",
        "UPDATE purchases SET price = '-1'",
        "UPDATE purchases SET price = '1.2.3'",
        "UPDATE purchases SET price = '1e3'",
        "UPDATE purchases SET price = ''",
        "UPDATE purchases SET currency = 'usd'",
        "UPDATE purchases SET mass_g = -1",
        "UPDATE purchases SET count = 1.5",
        "UPDATE purchases SET bought_on = '2026-02-30'",
        "UPDATE purchases SET lot_id = 99",
        new_yield("1, -1, NULL, NULL, NULL, ''"),
        new_yield("1, 'much', NULL, NULL, NULL, ''"),
        new_yield("1, 5, 995, 'found', NULL, ''"),
        new_yield("1, 5, 0.9, NULL, NULL, ''"),
        new_yield("1, 5, 0.9, 'guessed', NULL, ''"),
        new_yield("1, 5, NULL, NULL, 99, 'wrong'"),
        new_yield("1, 5, NULL, NULL, 1, ' '"),
        "INSERT INTO yield_lots VALUES (1, 99, 1)",
        "INSERT INTO yield_lots SELECT 1, id, 0 FROM lots",
        "INSERT INTO exclusions VALUES (1, 1, 2, 'x', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO exclusions VALUES (1, 1, 1, '', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO exclusions VALUES (1, 99, 1, 'x', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO marks VALUES (1, 'party', '2026-01-01', 'x', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO marks VALUES (1, 'reset', '2026-02-30', 'x', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO attachments VALUES (1, 1, 'XY', 'x', '', '2026-01-01T00:00:00Z')",
        "INSERT INTO beliefs VALUES (1, '2026-01-01T00:00:00Z', '1', 'k', 'no json')",
    ],
)
def test_constraints_hold_in_the_file_itself(log: Log, statement):
    log.add_lot(checked(NewLot, name="Shed"))
    log.add_estimate("Shed", photo_of(DOCUMENT), DOCUMENT)
    log.add_purchase("Shed", purchase())
    log.add_yield("Shed", gold())
    if statement == "UPDATE purchases SET count = 1.5" and isinstance(log.path, str):
        pytest.skip("PostgreSQL rounds it")
    before = log.contents()
    with pytest.raises(REFUSED):
        raw(log, statement)
    assert log.contents() == before


def test_what_is_right_passes_the_constraints(log: Log):
    log.add_lot(checked(NewLot, name="Shed"))
    for values in ("(1, 5, 0.9, 'found', NULL, '')", "(1, 0, NULL, NULL, 1, 'wrong')"):
        raw(log, new_yield(values))
    raw(log, "INSERT INTO yield_lots VALUES (1, 1, 0.5)")
    raw(log, "INSERT INTO exclusions VALUES (1, 1, 1, 'x', '', '2026-01-01T00:00:00Z')")
    raw(log, "INSERT INTO marks VALUES (1, 'reset', '2026-02-28', 'x', '', '2026-01-01T00:00:00Z')")
    raw(log, "INSERT INTO beliefs VALUES (1, '2026-01-01T00:00:00Z', '1', 'k', '{}')")
    assert len(log.contents().yields) == 2


def test_tables_of_queries_are_those_that_the_migrations_make(log: Log):
    tables = schema.lots.metadata.sorted_tables
    assert len(tables) == 22
    for table in tables:
        made = [column["name"] for column in inspect(log.engine).get_columns(table.name)]
        assert [column.name for column in table.columns] == made


def test_each_connection_has_the_safe_settings(file_log: Log):
    with file_log.engine.connect() as connection:
        values = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("foreign_keys", "journal_mode", "synchronous", "busy_timeout")
        }
    assert values == {"foreign_keys": 1, "journal_mode": "delete", "synchronous": 3, "busy_timeout": 30_000}


def test_a_clock_without_time_zone_is_a_defect(path: Path):
    with pytest.raises(ValueError, match="time zone"):
        open_log(path, clock=lambda: datetime(2026, 1, 1))
