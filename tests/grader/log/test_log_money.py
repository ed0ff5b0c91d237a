"""Money in the log: what goes in comes out, corrections take the place of what was wrong, nothing is rewritten."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DBAPIError

from calibration.errors import UsageError
from grader.learn import accounts
from grader.log import (
    Log,
    NewLot,
    NewMoney,
    NewPurchase,
    NewYield,
    checked,
    open_log,
    schema_postgres,
    schema_sqlite,
    store_postgres,
    to_csv,
    to_json,
)

DAY = date(2026, 3, 4)
MONEY = (
    "INSERT INTO money (lot_id, kind, what, amount, charges, currency, gold_mg, day, note, who, logged_at, corrects,"
    " reason) VALUES (1, {}, '2026-01-01', '', '', '2026-01-01T00:00:00Z', {})"
)


def money(kind: str = "cost", **changes: Any) -> NewMoney:
    return checked(
        NewMoney, **{"kind": kind, "what": "freight", "amount": "12.50", "currency": "EUR", "day": DAY, **changes}
    )


def bought(price: str = "40", **changes: Any) -> NewPurchase:
    return checked(NewPurchase, **{"price": price, "currency": "EUR", "bought_on": DAY, **changes})


def execute(log: Log, statement: str) -> None:
    with log.engine.begin() as c:
        c.exec_driver_sql(statement)


@pytest.fixture
def shed(log: Log) -> Log:
    log.add_lot(NewLot(name="Shed"))
    log.add_lot(NewLot(name="Attic"))
    return log


def test_what_goes_in_comes_out(shed: Log) -> None:
    cost = shed.add_money("Shed", money(note="by road", who="Ann"))
    sale = shed.add_money("Shed", money("sale", what="bodies", amount="7"))
    settled = shed.add_money("Attic", money("settlement", what="", amount="310.10", charges="24.05", gold_mg=4200.0))
    assert (cost.amount, cost.note, cost.who, cost.day) == (Decimal("12.50"), "by road", "Ann", DAY)
    assert shed.contents().money == (cost, sale, settled)
    assert shed.entries("Shed").money == (cost, sale)
    assert [m.balance for m in (cost, sale, settled)] == [Decimal("-12.50"), Decimal(7), Decimal("286.05")]


def test_a_correction_takes_the_place_of_what_was_wrong_once(shed: Log) -> None:
    wrong, other = shed.add_purchase("Shed", bought("400", mass_g=510.0)), shed.add_purchase("Shed", bought("5"))
    right = shed.correct_purchase(wrong.id, bought("40", mass_g=510.0, who="Ann"), " a zero too many ")
    contents = shed.contents()
    assert contents.purchases == (wrong, other, right)
    assert contents.current_purchases() == (other, right)
    assert (right.lot_id, right.corrects, right.reason) == (wrong.lot_id, wrong.id, "a zero too many")
    cost = shed.add_money("Shed", money())
    again = shed.correct_money(cost.id, money(amount="0"), "never was")
    assert shed.contents().current_money() == (again,)
    before = shed.contents()
    for number, entry, reason, lot, code in (
        (wrong.id, bought(), "x", None, "money-corrected"),
        (99, bought(), "x", None, "money-unknown"),
        (right.id, bought(), " ", None, "reason-missing"),
        (right.id, bought(), "x", "Barn", "lot-unknown"),
    ):
        with pytest.raises(UsageError) as caught:
            shed.correct_purchase(number, entry, reason, lot)
        assert caught.value.code == code
    for number, kind, code in ((cost.id, "cost", "money-corrected"), (again.id, "sale", "money-other-kind")):
        with pytest.raises(UsageError) as caught:
            shed.correct_money(number, money(kind), "x")
        assert caught.value.code == code
    assert shed.contents() == before


def test_a_correction_may_move_an_entry_to_the_lot_that_it_is_of(shed: Log) -> None:
    wrong = shed.add_purchase("Shed", bought())
    right = shed.correct_purchase(wrong.id, bought(), "another lot", "Attic")
    assert right.lot_id == 2
    # the lot that it was taken from knows that its entry counts no more
    assert [p.lot_id for p in shed.entries("Shed").current_purchases()] == [2]
    assert shed.entries("Attic").current_purchases() == (right,)


def test_a_corrected_purchase_changes_the_profit(shed: Log) -> None:
    wrong = shed.add_purchase("Shed", bought("400"))
    shed.add_money("Shed", money("sale", what="gold", amount="100"))
    assert [a.profit for a in accounts(shed.contents())] == [{"EUR": Decimal(-300)}]
    shed.correct_purchase(wrong.id, bought("40"), "a zero too many")
    assert [a.profit for a in accounts(shed.contents())] == [{"EUR": Decimal(60)}]


def test_gold_is_held_against_the_boards_as_corrected(shed: Log) -> None:
    wrong = shed.add_purchase("Shed", bought(mass_g=2.0))
    gold = checked(NewYield, mass_mg=2500.0, weighed_on=DAY)
    with pytest.raises(UsageError, match="cannot come from"):
        shed.add_yield("Shed", gold)
    shed.correct_purchase(wrong.id, bought(mass_g=2000.0), "kilograms")
    assert shed.add_yield("Shed", gold).mass_mg == 2500.0


@pytest.mark.parametrize(
    "changes",
    [
        {"amount": "-1"},
        {"amount": "NaN"},
        {"currency": "euro"},
        {"currency": "eur"},
        {"what": " "},
        {"charges": "1"},
        {"gold_mg": 5.0},
        {"kind": "gift"},
        {"kind": "settlement", "charges": "-1"},
        {"kind": "settlement", "gold_mg": 0.0},
    ],
)
def test_what_no_entry_of_money_can_have(changes: dict[str, Any]) -> None:
    with pytest.raises(UsageError) as caught:
        money(**changes)
    assert caught.value.code == "entry-invalid"


@pytest.mark.parametrize("lot", ["Barn", 9, ""])
def test_money_of_an_unknown_lot(shed: Log, lot: int | str) -> None:
    for write in (lambda: shed.add_money(lot, money()), lambda: shed.add_purchase(lot, bought())):
        with pytest.raises(UsageError) as caught:
            write()
        assert caught.value.code == "lot-unknown"
    assert shed.contents().money == ()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE money SET amount = '1'",
        "DELETE FROM money",
        "UPDATE purchases SET price = '1'",
        "DELETE FROM purchases",
        MONEY.format("'gift', 'x', '1', '0', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'cost', ' ', '1', '0', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'cost', 'x', '-1', '0', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'cost', 'x', '1e3', '0', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'cost', 'x', '1', '2', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'cost', 'x', '1', '0', 'eur', NULL", "NULL, ''"),
        MONEY.format("'cost', 'x', '1', '0', 'EUR', 5", "NULL, ''"),
        MONEY.format("'settlement', '', '1', 'x', 'EUR', NULL", "NULL, ''"),
        MONEY.format("'settlement', '', '1', '0', 'EUR', 0", "NULL, ''"),
        MONEY.format("'cost', 'x', '1', '0', 'EUR', NULL", "1, ' '"),
        MONEY.format("'cost', 'x', '1', '0', 'EUR', NULL", "9, 'x'"),
    ],
)
def test_the_database_itself_refuses(shed: Log, statement: str) -> None:
    shed.add_money("Shed", money())
    shed.add_purchase("Shed", bought())
    before = shed.contents()
    with pytest.raises((sqlite3.IntegrityError, DBAPIError)):
        execute(shed, statement)
    assert shed.contents() == before


def test_the_database_takes_what_is_right_and_a_second_correction_of_one_entry_is_refused(shed: Log) -> None:
    execute(shed, MONEY.format("'settlement', '', '1', '0.5', 'EUR', 5", "NULL, ''"))
    correction = MONEY.format("'settlement', '', '2.', '0', 'EUR', NULL", "1, 'x'")
    execute(shed, correction)
    with pytest.raises(DBAPIError):
        execute(shed, correction)
    assert [m.amount for m in shed.contents().current_money()] == [Decimal(2)]


@pytest.mark.parametrize("table", ["money", "purchases"])
def test_a_file_refuses_to_replace(file_log: Log, table: str) -> None:
    file_log.add_lot(NewLot(name="Shed"))
    file_log.add_money("Shed", money())
    file_log.add_purchase("Shed", bought())
    before = file_log.contents()
    with pytest.raises(DBAPIError, match="kept as they were made"):
        execute(file_log, f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")
    assert file_log.contents() == before


def test_exports_hold_it(file_log: Log) -> None:
    file_log.add_lot(NewLot(name="Shed"))
    file_log.add_purchase("Shed", bought())
    file_log.correct_purchase(1, bought("41", note="with the box"), "a slip")
    file_log.add_money("Shed", money("settlement", what="", amount="310.10", charges="24.05", gold_mg=4200.0))
    data = json.loads(to_json(file_log.contents()))
    assert [(p["price"], p["corrects"], p["reason"]) for p in data["purchases"]] == [
        ("40", None, ""),
        ("41", 1, "a slip"),
    ]
    assert {k: data["money"][0][k] for k in ("kind", "amount", "charges", "gold_mg", "day")} == {
        "kind": "settlement",
        "amount": "310.10",
        "charges": "24.05",
        "gold_mg": 4200.0,
        "day": "2026-03-04",
    }
    head, row = to_csv(file_log.contents(), "money").splitlines()
    told = dict(zip(head.split(","), row.split(","), strict=True))
    assert (told["lot"], told["amount"], told["charges"], told["currency"]) == ("Shed", "310.10", "24.05", "EUR")
    assert to_csv(file_log.contents(), "purchases").splitlines()[2].endswith(",with the box,,1,a slip")


def test_a_log_of_the_version_before_is_copied_and_keeps_its_purchases(path: Path) -> None:
    moment = "2026-01-01T00:00:00.000Z"
    with closing(sqlite3.connect(path)) as connection:
        for migration in schema_sqlite.MIGRATIONS[:3]:
            for statement in migration.statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {schema_sqlite.APPLICATION_ID}")
        connection.execute("PRAGMA user_version = 3")
        connection.execute(f"INSERT INTO lots VALUES (1, 'Shed', '', '', '{moment}', '')")
        connection.execute(f"INSERT INTO purchases VALUES (1, 1, '{moment}', '40.50', 'EUR', NULL, 4, '2026-01-01')")
        connection.commit()
    with open_log(path) as log:
        (purchase,) = log.contents().purchases
        assert (purchase.price, purchase.count, purchase.note, purchase.corrects) == (Decimal("40.50"), 4, "", None)
        log.correct_purchase(1, bought(), "a slip")
        assert len(log.contents().current_purchases()) == 1
    kept = path.with_name("log.sqlite.version-3")
    with closing(sqlite3.connect(kept)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (3,)
        assert connection.execute("SELECT price FROM purchases").fetchall() == [("40.50",)]


def test_a_server_s_log_of_the_version_before_is_copied_and_keeps_its_purchases(
    url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_postgres, "data_folder", lambda: tmp_path)
    with monkeypatch.context() as old:
        old.setattr(store_postgres, "MIGRATIONS", schema_postgres.MIGRATIONS[:3])
        with open_log(url) as log:
            moment = "2026-01-01T00:00:00.000Z"
            execute(log, f"INSERT INTO lots (name, seller, note, created_at) VALUES ('Shed', '', '', '{moment}')")
            values = f"(1, '{moment}', '40.50', 'EUR', '2026-01-01')"
            execute(log, f"INSERT INTO purchases (lot_id, logged_at, price, currency, bought_on) VALUES {values}")
    with open_log(url) as log:
        log.correct_purchase(1, bought("41"), "a slip")
        assert [(p.price, p.note, p.corrects) for p in log.contents().purchases] == [
            (Decimal("40.50"), "", None),
            (Decimal(41), "", 1),
        ]
    (copy,) = tmp_path.glob("*.version-3.json")
    assert json.loads(copy.read_text("utf-8"))["tables"]["purchases"][0]["price"] == "40.50"
