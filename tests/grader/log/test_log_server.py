"""A log on a PostgreSQL server: opened, refused, shared by several writers."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path

import pytest
from sqlalchemy import create_engine

from calibration.errors import LogError
from grader.log import NewLot, NewPurchase, checked, open_log, schema, schema_postgres, store_postgres
from grader.log.copies import backup


def execute(url: str, statement: str) -> None:
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.begin() as c:
        c.exec_driver_sql(statement)
    engine.dispose()


def test_both_kinds_of_log_have_the_same_versions():
    assert [m.title for m in schema.MIGRATIONS] == [m.title for m in schema_postgres.MIGRATIONS]


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


def test_an_old_log_is_brought_to_the_newest_version(url: str, monkeypatch: pytest.MonkeyPatch):
    with monkeypatch.context() as old:
        old.setattr(store_postgres, "MIGRATIONS", schema_postgres.MIGRATIONS[:1])
        open_log(url).close()
    moment = "2026-01-01T00:00:00.000Z"
    execute(url, f"INSERT INTO lots (name, seller, note, created_at) VALUES ('Shed', '', '', '{moment}')")
    execute(
        url,
        "INSERT INTO yields (lot_id, logged_at, mass_mg, note, weighed_on)"
        f" VALUES (1, '{moment}', 5.0, '', '2026-01-01')",
    )
    with open_log(url) as log:
        assert [(y.lot_id, y.copies) for y in log.contents().yield_lots] == [(1, 1.0)]


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


def test_copies_are_left_to_the_servers_own_means(url: str, tmp_path: Path):
    with open_log(url) as log, pytest.raises(LogError) as caught:
        backup(log, tmp_path / "copy")
    assert "pg_dump" in caught.value.advice
