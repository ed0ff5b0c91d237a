"""The log's file: created, migrated, told apart from what is no log of ours, and left untouched where it is not."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from calibration.errors import LogError
from grader.log import NewLot, checked, open_log, schema, schema_sqlite, sound, store, store_file


def fill(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def refused(path: Path, code: str) -> None:
    """Opening gives this error and changes nothing in the folder."""
    before = {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in path.parent.iterdir() if p.is_file()}
    for must_exist in (False, True):
        with pytest.raises(LogError) as caught:
            open_log(path, must_exist=must_exist)
        assert caught.value.code == code
        assert caught.value.exit_code == 2
    assert {p.name: (p.read_bytes(), p.stat().st_mtime_ns) for p in path.parent.iterdir() if p.is_file()} == before


def test_a_new_log_is_marked_as_ours(path: Path):
    open_log(path).close()
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA application_id").fetchone() == (schema_sqlite.APPLICATION_ID,)
        assert connection.execute("PRAGMA user_version").fetchone() == (len(schema_sqlite.MIGRATIONS),)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        records = connection.execute("SELECT version, title FROM migrations").fetchall()
    assert records == [(i + 1, m.title) for i, m in enumerate(schema_sqlite.MIGRATIONS)]
    assert [p.name for p in path.parent.iterdir()] == ["log.sqlite"]


def test_opening_again_changes_nothing(path: Path):
    with open_log(path) as log:
        log.add_lot(checked(NewLot, name="Shed"))
    before = path.read_bytes()
    with open_log(path, must_exist=True) as log:
        assert [lot.name for lot in log.lots()] == ["Shed"]
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_log(path: Path):
    path.touch()
    with open_log(path) as log:
        assert log.lots() == ()


def test_a_newer_log_is_refused_and_untouched(path: Path):
    open_log(path).close()
    fill(path, f"PRAGMA user_version = {len(schema_sqlite.MIGRATIONS) + 1}")
    refused(path, "log-newer")


def test_another_database_is_refused_and_untouched(path: Path):
    fill(path, "CREATE TABLE holidays (day TEXT)")
    refused(path, "log-not-ours")
    fill(path, "PRAGMA application_id = 7")
    refused(path, "log-not-ours")
    fill(path, "PRAGMA journal_mode = WAL", "INSERT INTO holidays VALUES ('today')")
    refused(path, "log-not-ours")


@pytest.mark.parametrize(
    "data", [b"x", b"SQLite format 3\x00", b"a letter\n" * 100, bytes(5000), b"\xff\xd8\xff" * 99]
)
def test_any_other_file_is_refused_and_untouched(path: Path, data):
    path.write_bytes(data)
    refused(path, "log-not-ours")


def test_missing_files_and_folders(path: Path):
    with pytest.raises(LogError) as caught:
        open_log(path, must_exist=True)
    assert caught.value.code == "log-missing"
    assert "Start a new log" in caught.value.advice
    assert not path.exists()
    with pytest.raises(LogError) as caught:
        open_log(path.parent / "nowhere" / "log.sqlite")
    assert caught.value.code == "log-folder-missing"
    refused_folder = path.parent / "folder"
    refused_folder.mkdir()
    with pytest.raises(LogError) as caught:
        open_log(refused_folder)
    assert caught.value.code == "log-is-folder"


def test_the_usual_place_is_made(tmp_path: Path, monkeypatch):
    usual = tmp_path / "data" / "of program" / "log.sqlite"
    monkeypatch.setattr(store, "default_path", lambda: usual)
    with pytest.raises(LogError, match="no log"):
        open_log(must_exist=True)
    assert not usual.parent.exists()
    open_log().close()
    assert usual.is_file()


def test_a_damaged_log_says_so(path: Path):
    with open_log(path) as log:
        log.add_lot(checked(NewLot, name="Shed"))
    data = path.read_bytes()
    path.write_bytes(data[:100] + bytes(len(data) - 100))
    with pytest.raises(LogError) as caught, open_log(path) as log:
        log.lots()
    assert caught.value.code == "log-damaged"


def test_a_log_that_another_program_keeps_locked(path: Path, monkeypatch):
    monkeypatch.setattr(sound, "BUSY_TIMEOUT_S", 0.05)
    with open_log(path) as log, closing(sqlite3.connect(path)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LogError) as caught:
            log.add_lot(checked(NewLot, name="Shed"))
        assert caught.value.code == "log-busy"
        other.rollback()
        assert log.lots() == ()
        log.add_lot(checked(NewLot, name="Shed"))


# --- migrations


def test_a_later_version_keeps_every_row(path: Path, monkeypatch):
    with open_log(path) as log:
        log.add_lot(checked(NewLot, name="Shed", seller="s"))
        before = log.contents()
    later = schema.Migration(
        "where a lot lies", ("CREATE TABLE places (lot_id INTEGER REFERENCES lots (id)) STRICT",)
    )
    monkeypatch.setattr(store_file, "MIGRATIONS", (*schema_sqlite.MIGRATIONS, later))
    with open_log(path) as log:
        assert log.contents() == before
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (len(schema_sqlite.MIGRATIONS) + 1,)
        assert connection.execute("SELECT title FROM migrations").fetchall()[-1] == ("where a lot lies",)
        assert connection.execute("SELECT * FROM places").fetchall() == []
    monkeypatch.undo()
    refused(path, "log-newer")


def test_a_migration_that_fails_leaves_the_version_before(path: Path, monkeypatch):
    with open_log(path) as log:
        log.add_lot(checked(NewLot, name="Shed"))
    before = path.read_bytes()
    broken = schema.Migration("half done", ("CREATE TABLE places (x INTEGER)", "CREATE TABLE places (x INTEGER)"))
    monkeypatch.setattr(store_file, "MIGRATIONS", (*schema_sqlite.MIGRATIONS, broken))
    with pytest.raises(LogError) as caught:
        open_log(path)
    assert caught.value.code == "log-failed"
    assert path.read_bytes() == before
    monkeypatch.undo()
    with open_log(path) as log:
        assert [lot.name for lot in log.lots()] == ["Shed"]


def test_a_migration_that_would_lose_rows_is_taken_back(path: Path, monkeypatch):
    with open_log(path) as log:
        log.add_lot(checked(NewLot, name="Shed"))
    before = path.read_bytes()
    losing = schema.Migration("loses", ("DELETE FROM lots",))
    monkeypatch.setattr(store_file, "MIGRATIONS", (*schema_sqlite.MIGRATIONS, losing))
    with pytest.raises(LogError) as caught:
        open_log(path)
    assert caught.value.code == "log-migration-lost"
    assert path.read_bytes() == before


def test_a_log_whose_making_was_broken_off_is_no_empty_log(path: Path):
    path.touch()
    with pytest.raises(LogError) as caught:
        open_log(path, must_exist=True)
    assert caught.value.code == "log-missing"
