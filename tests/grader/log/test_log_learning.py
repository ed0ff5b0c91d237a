"""What the log keeps for learning: corrections, exclusions, marks, several lots, and copies of the whole."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest

from calibration.errors import LogError, UsageError
from grader.log import (
    Log,
    NewAttachment,
    NewExclusion,
    NewLot,
    NewMark,
    NewPurchase,
    NewYield,
    checked,
    open_log,
    schema_sqlite,
)
from grader.log.copies import backup, restore


def gold(mass_mg: float = 5.0, **more) -> NewYield:
    return checked(NewYield, mass_mg=mass_mg, weighed_on=date(2026, 3, 4), **more)


def with_lots(log: Log) -> Log:
    log.add_lot(checked(NewLot, name="Shed", part="tongues"))
    log.add_lot(checked(NewLot, name="Attic"))
    return log


@pytest.fixture
def shed(log: Log) -> Log:
    return with_lots(log)


@pytest.fixture
def file_shed(file_log: Log) -> Log:
    return with_lots(file_log)


def test_a_correction_adds(shed: Log):
    wrong = shed.add_yield("Shed", gold(500, who="Ann"), {"Shed": 2.0, "Attic": 1.0})
    right = shed.correct_yield(wrong.id, gold(0.5, who="Ben"), "grams typed for milligrams")
    contents = shed.contents()
    assert contents.yields == (wrong, right)
    assert contents.current_yields() == (right,)
    assert (right.corrects, right.reason, right.who) == (wrong.id, "grams typed for milligrams", "Ben")
    assert {(y.lot_id, y.copies) for y in contents.yield_lots if y.yield_id == right.id} == {(1, 2.0), (2, 1.0)}
    with pytest.raises(UsageError, match="already corrected"):
        shed.correct_yield(wrong.id, gold(), "again")
    with pytest.raises(UsageError, match="no yield 9"):
        shed.correct_yield(9, gold(), "x")
    with pytest.raises(UsageError, match="reason"):
        shed.correct_yield(right.id, gold(), " ")
    assert shed.contents() == contents


def test_a_yield_of_several_lots_shows_in_each(shed: Log):
    both = shed.add_yield("Shed", gold(), {"Shed": 1.0, "Attic": 3.0})
    assert shed.entries("Attic").yields == shed.entries("Shed").yields == (both,)


@pytest.mark.parametrize("lots", [{"Shed": 0.0}, {"Shed": float("nan")}, {"Shed": 1.0, 1: 1.0}, {"Barn": 1.0}])
def test_lots_that_cannot_be_leave_nothing_behind(shed: Log, lots):
    with pytest.raises(UsageError):
        shed.add_yield("Shed", gold(), lots)
    assert shed.contents().yields == ()


def test_gold_heavier_than_its_boards_is_refused(shed: Log):
    bought = checked(NewPurchase, price=1, currency="EUR", mass_g=2.0, bought_on=date(2026, 1, 1))
    shed.add_purchase("Shed", bought)
    with pytest.raises(UsageError, match="cannot come from"):
        shed.add_yield("Shed", gold(2001.0))
    shed.add_yield("Shed", gold(1999.0))
    shed.add_yield("Shed", gold(2001.0), {"Shed": 1.0, "Attic": 1.0})  # the other lot's boards were never weighed
    assert len(shed.contents().yields) == 2


def test_several_yields_are_logged_all_or_none(shed: Log):
    with pytest.raises(UsageError):
        shed.add_yields([("Shed", gold(), 1.0), ("Barn", gold(), 1.0)])
    assert shed.contents().yields == ()
    assert len(shed.add_yields([("Shed", gold(), 1.0), ("Attic", gold(), 2.0)])) == 2


def test_the_last_exclusion_counts(shed: Log):
    number = shed.add_yield("Shed", gold()).id
    shed.exclude_yield(number, checked(NewExclusion, reason="spilled"))
    assert shed.contents().excluded()[number].reason == "spilled"
    shed.exclude_yield(number, checked(NewExclusion, reason="was another batch", excluded=False))
    assert shed.contents().excluded() == {}
    assert len(shed.contents().exclusions) == 2
    with pytest.raises(UsageError):
        checked(NewExclusion, reason=" ")
    with pytest.raises(UsageError, match="no yield 7"):
        shed.exclude_yield(7, checked(NewExclusion, reason="x"))


def test_marks_and_attachments(shed: Log):
    number = shed.add_yield("Shed", gold()).id
    mark = shed.add_mark(checked(NewMark, kind="process", day=date(2026, 5, 1), note="paper filters"))
    note = shed.attach(number, checked(NewAttachment, sha256="ab" * 32, name="assay.pdf", who="Ann"))
    assert shed.contents().marks == (mark,)
    assert shed.entries("Shed").attachments == (note,)
    assert shed.entries("Attic").attachments == ()


def test_a_log_of_the_first_version_opens_after_a_copy_was_made(path: Path):
    with closing(sqlite3.connect(path)) as connection:
        for statement in schema_sqlite.MIGRATIONS[0].statements:
            connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {schema_sqlite.APPLICATION_ID}")
        connection.execute("PRAGMA user_version = 1")
        moment = "2026-01-01T00:00:00.000Z"
        connection.execute(f"INSERT INTO lots VALUES (1, 'Shed', 'Ann', '', '{moment}')")
        connection.execute(f"INSERT INTO yields VALUES (1, 1, '{moment}', 5.0, NULL, NULL, NULL, '', '2026-01-01')")
        connection.commit()
    with open_log(path) as log:
        contents = log.contents()
    assert [(y.mass_mg, y.lost_mg, y.corrects) for y in contents.yields] == [(5.0, 0.0, None)]
    assert [(y.yield_id, y.lot_id, y.copies) for y in contents.yield_lots] == [(1, 1, 1.0)]
    kept = path.with_name("log.sqlite.version-1")
    with closing(sqlite3.connect(kept)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        assert connection.execute("SELECT count(*) FROM yields").fetchone() == (1,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    open_log(path).close()
    assert sorted(p.name for p in path.parent.iterdir()) == ["log.sqlite", "log.sqlite.version-1"]


def test_the_whole_log_goes_to_a_copy_and_back(file_shed: Log, tmp_path: Path):
    file_shed.add_yield("Shed", gold())
    before = file_shed.contents()
    copy = tmp_path / "copy.sqlite"
    backup(file_shed, copy)
    with pytest.raises(LogError, match="already"):
        backup(file_shed, copy)
    file_shed.add_yield("Shed", gold(9))
    later = file_shed.contents()
    file_shed.close()
    kept = restore(copy, file_shed.path).kept
    assert kept is not None
    with open_log(file_shed.path) as log, open_log(kept) as old:
        assert log.contents() == before
        assert old.contents() == later
    assert restore(copy, tmp_path / "new.sqlite").kept is None
    with open_log(tmp_path / "new.sqlite") as log:
        assert log.contents() == before


def test_a_damaged_copy_is_not_restored(file_shed: Log, tmp_path: Path):
    file_shed.close()
    before = file_shed.path.read_bytes()
    for data in (b"", b"no log", before[:100] + bytes(len(before) - 100)):
        copy = tmp_path / "copy.sqlite"
        copy.write_bytes(data)
        with pytest.raises(LogError):
            restore(copy, file_shed.path)
        copy.unlink()
        assert file_shed.path.read_bytes() == before
        assert [p.name for p in tmp_path.iterdir()] == ["log.sqlite"]
    with pytest.raises(LogError, match="itself"):
        restore(file_shed.path, file_shed.path)
    with pytest.raises(LogError, match="folder"):
        backup(file_shed, tmp_path / "nowhere" / "copy.sqlite")
