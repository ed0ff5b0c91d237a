"""One lot has one name, however it is spelled, on both kinds of log."""

from __future__ import annotations

import sqlite3
import unicodedata
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import UsageError
from grader.learn.csv_import import read_csv
from grader.log import Log, NewBatch, NewLot, checked, folded, open_log

# pairs that Unicode's CaseFolding.txt (C and F) and canonical equivalence make one; from memory
ALIKE = [
    ("Caf\u00e9", "Cafe\u0301"),
    ("CAF\u00c9", "cafe\u0301"),
    ("\u00c4rmel", "\u00e4RMEL"),
    ("STRASSE", "stra\u00dfe"),
    ("\u0391\u0393\u039f\u03a1\u0391\u03a3", "\u03b1\u03b3\u03bf\u03c1\u03b1\u03c2"),
    ("\u0428\u041a\u0410\u0424", "\u0448\u043a\u0430\u0444"),
    ("\u212bngstrom", "\u00e5NGSTROM"),
]


@pytest.mark.parametrize(("first", "second"), ALIKE)
def test_spellings_of_one_name_are_one_lot_and_one_batch(log: Log, first: str, second: str):
    lot = log.add_lot(checked(NewLot, name=first))
    batch = log.add_batch(checked(NewBatch, name=first, started_on=date(2026, 1, 1)))
    assert log.lot(second) == log.lot(f" {second} ") == lot
    assert log.contents().batches.named(second) == batch
    with pytest.raises(UsageError) as caught:
        log.add_lot(checked(NewLot, name=second))
    assert caught.value.code == "lot-exists"
    with pytest.raises(UsageError) as caught:
        log.add_batch(checked(NewBatch, name=second, started_on=date(2026, 1, 1)))
    assert caught.value.code == "batch-exists"
    (row,) = read_csv(f"lot,mass,weighed_on\n{second},1 mg,2026-03-04\n", log.contents())
    assert row.lot == lot


@given(st.text(max_size=20))
def test_folding_knows_neither_case_nor_composition(text: str):
    same = folded(text)
    assert folded(unicodedata.normalize("NFC", text)) == same
    assert folded(unicodedata.normalize("NFD", text)) == same
    assert folded(text.casefold()) == same
    assert folded(same) == same


def test_names_are_kept_composed(log: Log):
    assert log.add_lot(checked(NewLot, name="Cafe\u0301")).name == "Caf\u00e9"


def test_an_older_log_with_two_spellings_still_opens(path: Path):
    open_log(path).close()
    with closing(sqlite3.connect(path)) as c, c:
        for name in ("Caf\u00e9", "Cafe\u0301", "\u00c4rmel", "\u00e4rmel"):
            c.execute(
                "INSERT INTO lots (name, seller, note, created_at) VALUES (?, '', '', '2026-01-01T00:00:00Z')",
                (name,),
            )
    with open_log(path) as log:
        assert [log.lot(name).id for name in ("Caf\u00e9", "Cafe\u0301", "\u00e4rmel")] == [1, 2, 4]
        with pytest.raises(UsageError) as caught:
            log.lot("CAF\u00c9")
        assert caught.value.code == "lot-ambiguous"
        assert "1 (" in caught.value.message
        assert "2 (" in caught.value.message


def test_writers_at_once_start_one_lot_of_a_name(new_url: Callable[[], str], tmp_path: Path):
    for place in (new_url(), tmp_path / "log.sqlite"):
        open_log(place).close()

        def start(name: str, place: str | Path = place) -> str:
            with open_log(place) as log:
                try:
                    log.add_lot(checked(NewLot, name=name))
                except UsageError as error:
                    return error.code
            return "started"

        with ThreadPoolExecutor(4) as pool:
            started = list(pool.map(start, ["STRASSE", "stra\u00dfe", "Strasse", "STRA\u1e9eE"]))
        assert sorted(started) == [*["lot-exists"] * 3, "started"]
        with open_log(place) as log:
            assert len(log.lots()) == 1
