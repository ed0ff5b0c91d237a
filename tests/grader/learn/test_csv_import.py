"""Yields from CSV: a preview of every row, an error for each wrong one, and all or none written."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from calibration.errors import DataFileError, UsageError
from grader.learn.csv_import import entries, read_csv
from grader.log import Log, NewLot, checked, open_log

GOOD = """lot,mass,weighed_on,uncertainty,fineness,fineness_known,copies,carried_in,lost,note,who
Shed,1.25 g,2026-03-04,10 mg,995,assayed,2,5 mg,,"button, round",Ann
attic,8 dwt,2026-03-05,,,,,,,,
"""


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with open_log(tmp_path / "log.sqlite") as opened:
        for name in ("Shed", "Attic"):
            opened.add_lot(checked(NewLot, name=name))
        yield opened


def test_good_rows_are_written_together(log: Log):
    rows = read_csv(GOOD, log.contents())
    assert [r.problem for r in rows] == [None, None]
    assert [r.line for r in rows] == [2, 3]
    log.add_yields(entries(rows))
    first, second = log.contents().yields
    assert (first.mass_mg, first.uncertainty_mg, first.fineness, first.fineness_known) == (1250, 10, 0.995, "assayed")
    assert (first.carried_in_mg, first.lost_mg, first.note, first.who) == (5, 0, "button, round", "Ann")
    # a pennyweight is 24 grains of 64.79891 mg (international yard and pound agreement of 1959)
    assert second.mass_mg == pytest.approx(8 * 24 * 64.79891)
    assert (second.fineness, second.weighed_on) == (None, date(2026, 3, 5))
    assert [y.copies for y in log.contents().yield_lots] == [2.0, 1.0]


def test_a_file_imported_again_is_told(log: Log):
    log.add_yields(entries(read_csv(GOOD, log.contents())))
    again = read_csv(GOOD, log.contents())
    assert all("already" in str(r.problem) for r in again)
    doubled = read_csv("lot,mass,weighed_on\nShed,2 g,2026-03-04\nShed,2 g,2026-03-04\n", log.contents())
    assert [r.problem is None for r in doubled] == [True, False]


@pytest.mark.parametrize(
    ("row", "word"),
    [
        ("Barn,1 g,2026-03-04", "no lot 'Barn'"),
        ("Shed,1,2026-03-04", "unit"),
        ("Shed,-1 g,2026-03-04", "mass"),
        ("Shed,1 g,4.3.2026", "not a date"),
        ("Shed,1 g", "cells"),
        ("Shed,1 g,2026-03-04,more", "cells"),
        ("Shed,1 oz,2026-03-04", "ounce"),
    ],
)
def test_a_wrong_row_is_told_and_nothing_is_written(log: Log, row: str, word: str):
    rows = read_csv(f"lot,mass,weighed_on\nShed,1 g,2026-03-04\n{row}\n", log.contents())
    assert rows[0].problem is None
    assert word in str(rows[1].problem)
    assert rows[1].line == 3
    with pytest.raises(UsageError, match="1 of 2 rows"):
        entries(rows)
    assert log.contents().yields == ()


@pytest.mark.parametrize("copies", ["0", "-1", "many", "nan", "inf"])
def test_copies_that_cannot_be(log: Log, copies: str):
    (row,) = read_csv(f"lot,mass,weighed_on,copies\nShed,1 g,2026-03-04,{copies}\n", log.contents())
    assert "copies" in str(row.problem)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "lot,mass\nShed,1 g\n",
        "lot,mass,weighed_on\n",
        "lot,mass,weighed_on,colour\n",
        "lot,mass,weighed_on,mass\n",
        'lot,mass,weighed_on\n"Shed,1 g\n',
    ],
)
def test_a_file_that_is_none(log: Log, text: str):
    with pytest.raises(DataFileError, match="CSV file"):
        read_csv(text, log.contents())


def test_semicolons_and_a_byte_order_mark_are_fine(log: Log):
    (row,) = read_csv("\ufeffLot;Mass;Weighed_on\r\nShed;1.5 g;2026-03-04\r\n", log.contents())
    assert row.new is not None
    assert row.new.mass_mg == 1500
