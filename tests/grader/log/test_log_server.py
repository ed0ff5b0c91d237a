"""A log on a PostgreSQL server: opened, refused, shared by several writers."""

from __future__ import annotations

import json
import random
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from calibration.errors import LogError
from grader.log import NewLot, NewPurchase, checked, open_log, schema_postgres, schema_sqlite, store_postgres
from grader.log.copies import backup


def execute(url: str, statement: str) -> None:
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.begin() as c:
        c.exec_driver_sql(statement)
    engine.dispose()


def test_both_kinds_of_log_have_the_same_versions():
    assert [m.title for m in schema_sqlite.MIGRATIONS] == [m.title for m in schema_postgres.MIGRATIONS]


def test_it_is_made_once_and_found_again(url: str):
    with pytest.raises(LogError) as caught:
        open_log(url, must_exist=True)
    assert caught.value.code == "log-missing"
    with open_log(url) as log:
        log.add_lot(checked(NewLot, name="Shed"))
    with open_log(url, must_exist=True) as log:
        assert [lot.name for lot in log.lots()] == ["Shed"]


def test_a_newer_log_is_refused(url: str):
    open_log(url).close()
    execute(url, "INSERT INTO migrations VALUES (99, 'x', '9', '2030-01-01T00:00:00Z')")
    with pytest.raises(LogError) as caught:
        open_log(url)
    assert caught.value.code == "log-newer"


def test_another_database_is_refused(url: str):
    execute(url, "CREATE TABLE holidays (day TEXT)")
    with pytest.raises(LogError) as caught:
        open_log(url)
    assert caught.value.code == "log-not-ours"


def old_log(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A log of the first version with a lot and a yield."""
    with monkeypatch.context() as old:
        old.setattr(store_postgres, "MIGRATIONS", schema_postgres.MIGRATIONS[:1])
        open_log(url).close()
    moment = "2026-01-01T00:00:00.000Z"
    execute(url, f"INSERT INTO lots (name, seller, note, created_at) VALUES ('Sh\u00e4d', '', '', '{moment}')")
    execute(
        url,
        "INSERT INTO yields (lot_id, logged_at, mass_mg, note, weighed_on)"
        f" VALUES (1, '{moment}', 5.1, '', '2026-01-01')",
    )


@pytest.fixture
def copies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where copies of old logs go."""
    monkeypatch.setattr(store_postgres, "data_folder", lambda: tmp_path / "data")
    return tmp_path / "data"


def test_an_old_log_is_brought_to_the_newest_version(url: str, copies: Path, monkeypatch: pytest.MonkeyPatch):
    old_log(url, monkeypatch)
    with open_log(url) as log:
        assert [(y.lot_id, y.copies) for y in log.contents().yield_lots] == [(1, 1.0)]


def test_an_old_log_is_copied_first_and_the_copy_brings_it_all_back(
    new_url: Callable[[], str], copies: Path, monkeypatch: pytest.MonkeyPatch
):
    first, second = new_url(), new_url()
    old_log(first, monkeypatch)
    open_log(first).close()
    open_log(first).close()  # a log of the newest version is not copied
    (copy,) = copies.iterdir()
    assert copy.name == "server-log-postgres.version-1.json"

    with monkeypatch.context() as old:
        old.setattr(store_postgres, "MIGRATIONS", schema_postgres.MIGRATIONS[:1])
        open_log(second).close()
    for table, rows in json.loads(copy.read_text("utf-8"))["tables"].items():
        if table != "migrations":
            text = json.dumps(rows).replace("'", "''").replace("%", "%%")
            execute(second, f"INSERT INTO {table} SELECT * FROM json_populate_recordset(NULL::{table}, '{text}')")
    with open_log(first) as log, open_log(second) as brought_back:
        assert brought_back.contents() == log.contents()
        assert [lot.name for lot in log.lots()] == ["Sh\u00e4d"]
        assert log.contents().yields[0].mass_mg == 5.1
    assert sorted(p.name for p in copies.iterdir()) == [copy.name, f"{copy.name}.2"]


def test_without_room_for_the_copy_the_log_stays_as_it_is(url: str, copies: Path, monkeypatch: pytest.MonkeyPatch):
    old_log(url, monkeypatch)
    copies.write_text("a file where the folder should be")
    with pytest.raises(LogError) as caught:
        open_log(url)
    assert caught.value.code == "log-copy-failed"
    execute(url, "INSERT INTO lots (name, seller, note, created_at) VALUES ('B', '', '', '2026-01-01T00:00:00Z')")
    copies.unlink()
    with open_log(url) as log:  # still of the first version, and nothing is missing
        assert [lot.name for lot in log.lots()] == ["Sh\u00e4d", "B"]
    assert len(list(copies.iterdir())) == 1


def test_a_server_that_is_not_there():
    pytest.importorskip("psycopg")
    with pytest.raises(LogError) as caught:
        open_log("postgresql://ann:secret@/log?host=/nowhere")
    assert caught.value.code == "log-unreachable"
    assert "secret" not in str(caught.value)
    with pytest.raises(LogError) as caught:
        open_log("postgresql://ann@host:port/log")
    assert caught.value.code == "log-url"


def test_writers_at_once_lose_nothing_even_while_the_log_is_made(new_url: Callable[[], str]):
    for _ in range(5):
        url = new_url()

        def write(writer: int, url: str = url) -> None:
            with open_log(url) as log:
                lot = log.add_lot(checked(NewLot, name=f"Lot {writer} a")).id
                for price in range(10):
                    log.add_purchase(
                        lot, checked(NewPurchase, price=price, currency="EUR", bought_on=date(2026, 1, 1))
                    )

        with ThreadPoolExecutor(4) as pool:
            list(pool.map(write, range(4)))
        with open_log(url) as log:
            contents = log.contents()
        assert len(contents.lots) == 4
        assert len(contents.purchases) == 40


def test_a_server_that_is_killed_keeps_what_it_acknowledged(url: str, own_server):
    """Its files are written by the kernel still; what a power cut leaves is the server's own promise (fsync)."""
    kills = 5
    chance = random.Random(11)
    with open_log(url) as log:
        lot = log.add_lot(checked(NewLot, name="Shed")).id
    said: list[int] = []

    def write(first: int) -> str:
        try:
            with open_log(url) as log:
                for price in range(first, first + 1_000_000):
                    log.add_purchase(
                        lot, checked(NewPurchase, price=price, currency="EUR", bought_on=date(2026, 1, 1))
                    )
                    said.append(price)
        except LogError as error:
            return error.code
        return ""

    for turn in range(kills):
        before = len(said)
        with ThreadPoolExecutor(1) as pool:
            ended = pool.submit(write, turn * 1_000_000)
            while len(said) == before and not ended.done():
                time.sleep(0.005)
            time.sleep(chance.uniform(0.0, 0.2))
            own_server.kill()
            assert ended.result() in {"log-unreachable", "log-failed"}
        own_server.start_after_kill()
    with open_log(url) as log:
        kept = [int(p.price) for p in log.contents().purchases]
    assert len(said) >= kills
    assert set(said) <= set(kept)
    assert len(kept) == len(set(kept))
    assert len(kept) - len(said) <= kills  # at most the one entry that each was about to acknowledge


def test_copies_are_left_to_the_servers_own_means(url: str, tmp_path: Path):
    with open_log(url) as log, pytest.raises(LogError) as caught:
        backup(log, tmp_path / "copy")
    assert "pg_dump" in caught.value.advice
