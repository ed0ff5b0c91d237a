"""Batches in the log: what went in, what came out, boards carried over once and no more."""

from __future__ import annotations

import sqlite3
from datetime import date
from typing import Any

import pytest
from sqlalchemy.exc import DBAPIError

from calibration.errors import UsageError
from grader.log import (
    Log,
    NewAmount,
    NewBatch,
    NewCarryOver,
    NewLoad,
    NewLot,
    NewStrike,
    NewTest,
    NewYield,
    checked,
)

DAY = date(2026, 3, 4)


@pytest.fixture
def shed(log: Log) -> Log:
    for lot in ("Shed", "Attic"):
        log.add_lot(checked(NewLot, name=lot))
    for batch in ("First", "Second", "Third"):
        log.add_batch(checked(NewBatch, name=batch, started_on=DAY))
    return log


def load(log: Log, batch: int | str, lots: dict[int | str, float], carried: tuple[int, ...] = ()) -> int:
    return log.add_load(batch, checked(NewLoad, loaded_on=DAY, vessel="1 l beaker", mass_g=470.0), lots, carried).id


def carry(log: Log, batch: str, lot: str, copies: float, **more: Any) -> int:
    return log.add_carry_over(batch, lot, checked(NewCarryOver, copies=copies, **more)).id


def strike(log: Log, kind: str, number: int) -> None:
    log.strike(checked(NewStrike, kind=kind, entry_id=number, reason="wrong"))


def refused(code: str) -> Any:
    return pytest.raises(UsageError, check=lambda error: error.code == code)


def test_batches_are_named_once_and_keep_their_plan(shed: Log) -> None:
    plan = {"loads": {"value": 2.0}}
    made = shed.add_batch(checked(NewBatch, name="Fourth", started_on=DAY), plan)
    assert made.plan == plan
    records = shed.contents().batches
    assert records.named("fOURTH") == records.named(made.id) == made
    with refused("batch-exists"):
        shed.add_batch(checked(NewBatch, name="FOURTH", started_on=DAY))
    with refused("batch-unknown"):
        load(shed, "Fifth", {"Shed": 1.0})
    with refused("batch-unknown"):
        records.named(99)


def test_lots_add_up_over_loads(shed: Log) -> None:
    load(shed, "First", {"Shed": 0.5})
    wrong = load(shed, "First", {"Attic": 3.0})
    load(shed, "first", {"Shed": 0.25, "Attic": 1.0})
    strike(shed, "load", wrong)
    records = shed.contents().batches
    assert records.lots_in(1) == {1: 0.75, 2: 1.0}
    assert len(records.loads) == 3
    assert len(records.current_loads(1)) == 2


def test_amounts_and_tests_are_kept(shed: Log) -> None:
    used = shed.add_amount("First", checked(NewAmount, kind="used", what="acid", amount=1100, unit="ml"))
    out = shed.add_amount("First", checked(NewAmount, kind="out", what="liquor", amount=1400, unit="ml", who="Ann"))
    done = shed.add_test(
        "First",
        checked(NewTest, what="stannous chloride", result="negative", sample="spent gold solution", tested_on=DAY),
    )
    records = shed.contents().batches
    assert records.amounts == (used, out)
    assert records.tests == (done,)
    strike(shed, "test", done.id)
    assert shed.contents().batches.struck("test") == {done.id}


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (NewAmount, {"kind": "used", "what": "", "amount": 1, "unit": "g"}),
        (NewAmount, {"kind": "used", "what": "x", "amount": 0, "unit": "g"}),
        (NewAmount, {"kind": "used", "what": "x", "amount": 1, "unit": "cups"}),
        (NewAmount, {"kind": "lost", "what": "x", "amount": 1, "unit": "g"}),
        (NewTest, {"what": "x", "result": "perhaps", "tested_on": DAY}),
        (NewLoad, {"loaded_on": DAY, "mass_g": -1.0}),
        (NewCarryOver, {"copies": 0.0}),
        (NewCarryOver, {"copies": 1.0, "left_mg": 5.0}),
        (NewCarryOver, {"copies": 1.0, "left_mg": -5.0, "left_uncertainty_mg": 1.0}),
        (NewStrike, {"kind": "lot", "entry_id": 1, "reason": "x"}),
        (NewStrike, {"kind": "load", "entry_id": 1, "reason": " "}),
    ],
)
def test_entries_that_cannot_be(kind: Any, values: dict[str, Any]) -> None:
    with refused("entry-invalid"):
        checked(kind, **values)


def test_loads_that_cannot_be(shed: Log) -> None:
    for lots, carried, code in (
        ({}, (), "load-empty"),
        ({"Shed": 0.0}, (), "copies-invalid"),
        ({"Shed": float("nan")}, (), "copies-invalid"),
        ({"Shed": 1.0, 1: 1.0}, (), "lot-twice"),
        ({"Cellar": 1.0}, (), "lot-unknown"),
        ({}, (7,), "carry-over-unknown"),
    ):
        with refused(code):
            load(shed, "First", lots, carried)
    assert shed.contents().batches.loads == ()


def test_no_more_is_carried_over_than_went_in(shed: Log) -> None:
    load(shed, "First", {"Shed": 1.0})
    with refused("carry-over-too-much"):
        carry(shed, "First", "Attic", 0.1)
    first = carry(shed, "First", "Shed", 0.6)
    with refused("carry-over-too-much"):
        carry(shed, "First", "Shed", 0.5)
    strike(shed, "carry-over", first)
    carry(shed, "First", "Shed", 1.0)


def test_boards_carried_over_go_into_one_later_batch_once(shed: Log) -> None:
    load(shed, "First", {"Shed": 1.0})
    number = carry(shed, "First", "Shed", 0.5)
    assert [c.id for c in shed.contents().batches.waiting()] == [number]
    with refused("carry-over-to-itself"):
        load(shed, "First", {}, (number,))
    into = load(shed, "Second", {"Attic": 1.0}, (number,))
    assert shed.contents().batches.waiting() == ()
    assert shed.contents().batches.carried_into(number) == 2
    with refused("carry-over-used"):
        load(shed, "Third", {}, (number,))
    with refused("carry-over-used"):
        strike(shed, "carry-over", number)
    # carried on, but never back into a batch that it came through
    again = carry(shed, "Second", "Shed", 0.5)
    with refused("carry-over-to-itself"):
        load(shed, "First", {}, (again,))
    with refused("load-carried-over"):
        strike(shed, "load", into)
    strike(shed, "carry-over", again)
    strike(shed, "load", into)
    assert [c.id for c in shed.contents().batches.waiting()] == [number]
    load(shed, "Third", {}, (number,))
    assert shed.contents().batches.carried_into(number) == 3


def test_strikes_that_cannot_be(shed: Log) -> None:
    number = load(shed, "First", {"Shed": 1.0})
    with refused("entry-unknown"):
        strike(shed, "load", 99)
    strike(shed, "load", number)
    with refused("entry-struck"):
        strike(shed, "load", number)


def test_a_yield_of_a_batch_is_of_its_lots_and_corrections_follow(shed: Log) -> None:
    gold = checked(NewYield, mass_mg=5.0, weighed_on=DAY)
    with refused("batch-empty"):
        shed.add_batch_yield("First", gold)
    load(shed, "First", {"Shed": 1.0, "Attic": 2.0})
    kept = shed.add_batch_yield("First", gold)
    right = shed.correct_yield(kept.id, gold.model_copy(update={"mass_mg": 6.0}), "misread")
    contents = shed.contents()
    assert {(y.lot_id, y.copies) for y in contents.yield_lots if y.yield_id == kept.id} == {(1, 1.0), (2, 2.0)}
    assert contents.batch_of(right) == 1
    assert shed.entries("Attic").current_yields() == (right,)


def test_a_yield_of_boards_carried_over_alone_is_found_by_their_lot(shed: Log) -> None:
    load(shed, "First", {"Shed": 1.0})
    number = carry(shed, "First", "Shed", 0.5)
    load(shed, "Second", {}, (number,))
    kept = shed.add_batch_yield("Second", checked(NewYield, mass_mg=5.0, weighed_on=DAY))
    assert kept in shed.entries("Shed").yields


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE batch_loads SET mass_g = 1",
        "DELETE FROM load_lots",
        "DELETE FROM batches",
        "INSERT INTO load_lots VALUES (1, 2, 0)",
        "INSERT INTO load_lots VALUES (99, 1, 1)",
        (
            "INSERT INTO batches (name, started_on, note, who, logged_at) "
            "VALUES ('FIRST', '2026-01-01', '', '', '2026-01-01T00:00:00Z')"
        ),
        (
            "INSERT INTO batches (name, started_on, note, who, logged_at) "
            "VALUES ('x', '2026-02-30', '', '', '2026-01-01T00:00:00Z')"
        ),
        (
            "INSERT INTO batches (name, started_on, note, who, plan, logged_at) "
            "VALUES ('x', '2026-01-01', '', '', 'no json', '2026-01-01T00:00:00Z')"
        ),
        (
            "INSERT INTO carry_overs (batch_id, lot_id, copies, left_mg, note, who, logged_at) "
            "VALUES (1, 1, 1, 5, '', '', '2026-01-01T00:00:00Z')"
        ),
        "INSERT INTO load_carried VALUES (99, 1)",
        "INSERT INTO batch_yields VALUES (99, 1)",
    ],
)
def test_constraints_hold_in_the_log_itself(shed: Log, statement: str) -> None:
    load(shed, "First", {"Shed": 1.0})
    before = shed.contents()
    with pytest.raises((sqlite3.IntegrityError, DBAPIError)), shed.engine.begin() as c:
        c.exec_driver_sql(statement)
    assert shed.contents() == before
