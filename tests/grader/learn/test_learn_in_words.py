"""Belief, comparison and flags in words: what is shown, and from where on."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from calibration.belief import Shift
from calibration.errors import UsageError
from calibration.scores import share
from grader.learn.compare import YieldBesideEstimate
from grader.learn.csv_import import CsvRow, entries, read_csv
from grader.learn.flags import Flag, flags, reasons
from grader.learn.returns import Return
from grader.learn.tables import (
    belief_sentences,
    belief_table,
    flags_table,
    left_out_table,
    pairs_table,
    record_tables,
    returns_table,
    rows_table,
    share_text,
)
from grader.log import Contents
from grader.log.model import LoggedLot, Yield
from grader.model import Range

NOON = datetime(2026, 5, 20, 12, tzinfo=UTC)


def believed(*shifts: Shift, yields: int = 2, made: datetime | None = NOON, process: int = 0, **left: str) -> Any:
    """As much of a belief as the words need."""
    return SimpleNamespace(
        rests_on=tuple(range(yields)),
        made_at=made,
        belief=SimpleNamespace(shifts=lambda: shifts, process=process),
        sources=SimpleNamespace(left_out={int(n.removeprefix("y")): why for n, why in left.items()}),
    )


def shift(factor: float) -> Shift:
    """A range of a factor of four to either side that became one of two."""
    return Shift("hard_gold", (0.1, 0.4, 1.6), (0.2 * factor, 0.4 * factor, 0.8 * factor), 3)


def test_what_a_belief_says() -> None:
    said = belief_sentences(believed(shift(1.2)))
    assert said[0] == "The belief of 2026-05-20 rests on 2 yields."
    assert said[1].startswith("Hard gold: the middle has moved by a factor of 1.20, and the range is 50 % as wide ")
    assert len(said) == 2
    assert belief_sentences(believed(yields=1, made=None)) == ("The belief rests on 1 yield.",)
    assert "changed 2 times" in belief_sentences(believed(process=2))[-1]


@pytest.mark.parametrize(
    ("factor", "moved"), [(0.94, True), (0.96, False), (1.0, False), (1.04, False), (1.06, True)]
)
def test_a_twentieth_is_hardly_a_move(factor: float, moved: bool) -> None:
    assert ("moved by a factor" in belief_sentences(believed(shift(factor)))[1]) is moved


def test_tables_of_a_belief() -> None:
    assert belief_table([shift(1.0)]).rows == (
        ("hard gold", "3", "0.40 µm (0.10 to 1.60 µm, 90 % sure)", "0.40 µm (0.20 to 0.80 µm, 90 % sure)"),
    )
    assert left_out_table(believed(y7="spilt", y3="no photo")).rows == (("3", "no photo"), ("7", "spilt"))
    flag = Flag(4, 31.0, 0.00123, ("one", "two"))
    assert flags_table([flag]).rows == (("4", "31", "0.1 %", "one; or two"),)


def pair(number: int, fine: float, **more: Any) -> YieldBesideEstimate:
    known = {"estimate_mg": Range(100.0, 80.0, 125.0), "place": 0.5, "score_mg": 5.0}
    names = (("lot a", "lot b"), ("strips",), ("Ash",), ("hard_gold",), date(2026, 5, 20))
    return YieldBesideEstimate(number, *names, fine, **{**known, **more})


def test_each_yield_beside_its_estimate() -> None:
    shown = pairs_table(
        [
            pair(1, 110.0),
            pair(2, 150.0),
            pair(3, 90.0, why_not="spilt"),
            pair(4, 90.0, estimate_mg=None, place=None, score_mg=None, why_not="no estimate"),
        ]
    ).rows
    estimate = "100 mg (80 to 125 mg, 90 % sure)"
    assert shown == (
        ("1", "2026-05-20", "lot a, lot b", "110 mg", estimate, "+10 %", "yes", "5.00 mg"),
        ("2", "2026-05-20", "lot a, lot b", "150 mg", estimate, "+50 %", "no", "5.00 mg"),
        ("3", "2026-05-20", "lot a, lot b", "90.0 mg", estimate, "-10 %", "spilt", "5.00 mg"),
        ("4", "2026-05-20", "lot a, lot b", "90.0 mg", "", "", "no estimate", ""),
    )


def test_how_estimates_did_in_words() -> None:
    tables = record_tables([pair(1, 110.0), pair(2, 90.0)])
    assert [t.title for t in tables] == ["All estimates", "By finish", "By part", "By seller", "By year"]
    (row,) = tables[0].rows
    assert row[:2] == ("all", "2")
    assert row[2] == share_text(share(2, 2))
    assert row[3].startswith("0.99 (0.")
    assert tables[1].rows[0][0] == "hard gold"
    assert tables[2].rows[0][0] == "strips"
    (alone,) = record_tables([pair(1, 110.0)])[0].rows
    assert alone[3] == "1.10"
    assert record_tables([pair(1, 110.0, why_not="spilt")]) == ()
    # Wilson by hand: (0.9 + 0.1353) / 1.2706 = 0.815, and 0.163 to either side
    assert share_text(share(9, 10)) == "90 % (may truly be 65 % to 98 %)"


def test_what_lots_returned_in_words() -> None:
    rows = returns_table("r", [Return("one", {"EUR": Decimal("6.75"), "USD": Decimal(3)}, 1500.0, 2)]).rows
    assert rows == (("one", "2", "6.75 EUR; 3.00 USD", "1.50 g", "4.50 EUR; 2.00 USD"),)


# --- flags


def test_yields_are_flagged_below_one_in_a_hundred_the_least_likely_first() -> None:
    surprise = {"1": (1.5, 0.0099), "2": (0.5, 0.01), "3": (1000.0, 1e-6), "4": (1.0, 0.5)}
    found = flags(SimpleNamespace(surprise=lambda: surprise))  # type: ignore[arg-type]
    assert [(f.yield_id, f.ratio, f.chance) for f in found] == [(3, 1000.0, 1e-6), (1, 1.5, 0.0099)]
    assert found[0].reasons == reasons(1000.0)


@pytest.mark.parametrize(
    ("factor", "slip"),
    [
        (1000.0, "milligrams taken for grams"),
        (1 / 1000, "grams taken for milligrams"),
        (31.1034768, "grams taken for troy ounces"),
        (1 / 31.1034768, "troy ounces taken for grams"),
        (1000 / 64.79891, "grains taken for grams"),
        (64.79891 / 1000, "grams taken for grains"),
    ],
)
def test_slips_of_units_within_a_factor_of_their_own(factor: float, slip: str) -> None:
    """Troy ounce 31.1034768 g and grain 64.79891 mg (international yard and pound agreement of 1959)."""
    words = f"wrong unit: {slip}"
    assert all(words in reasons(factor * off) for off in (0.63, 1.0, 1.59))
    assert not any(words in reasons(factor * off) for off in (0.62, 1.61))


# --- rows of a file


WRITTEN = Contents(
    lots=(LoggedLot(1, "Shed", "", "", NOON), LoggedLot(2, "Attic", "", "", NOON)),
    photos=(),
    estimates=(),
    purchases=(),
    yields=(Yield(1, 2, NOON, 500.0, None, None, None, "", date(2026, 3, 4)),),
    offers=(),
)
HEAD = "lot,mass,weighed_on\n"


def test_lots_are_found_by_name_and_by_number() -> None:
    rows = read_csv(HEAD + "shed,1 g,2026-03-04\n2,1 g,2026-03-04\n", WRITTEN)
    assert [lot_id for lot_id, _, _ in entries(rows)] == [1, 2]
    assert [copies for _, _, copies in entries(rows)] == [1.0, 1.0]


def test_a_yield_is_the_same_only_in_lot_mass_and_day_together() -> None:
    again = ["Attic,0.5 g,2026-03-04", "Shed,0.5 g,2026-03-04", "Attic,0.6 g,2026-03-04", "Attic,0.5 g,2026-03-05"]
    rows = read_csv(HEAD + "\n".join(again) + "\n", WRITTEN)
    assert [r.problem is None for r in rows] == [False, True, True, True]
    assert rows[0].problem is not None
    assert rows[0].problem.code == "yield-twice"
    assert (rows[0].lot, rows[0].new) == (None, None)
    with pytest.raises(UsageError, match=r"1 of 4 rows cannot be imported; the first is line 2"):
        entries(rows)


@pytest.mark.parametrize(("copies", "right"), [("0.001", True), ("1", True), ("999999", True), ("1e6", False)])
def test_how_many_copies_there_may_be(copies: str, right: bool) -> None:
    (row,) = read_csv(f"lot,mass,weighed_on,copies\nShed,1 g,2026-03-04,{copies}\n", WRITTEN)
    assert (row.problem is None) is right
    assert row.copies == (float(copies) if right else 1.0)


def test_commas_part_cells_unless_semicolons_are_more() -> None:
    text = "lot;mass;weighed_on;note\nShed;1 g;2026-03-04;a, b, c, d, e\n"
    (row,) = read_csv(text, WRITTEN)
    assert row.new is not None
    assert row.new.note == "a, b, c, d, e"


def test_a_fineness_without_a_word_is_assumed() -> None:
    (row,) = read_csv("lot,mass,weighed_on,fineness\nShed,1 g,2026-03-04,0.9\n", WRITTEN)
    assert row.new is not None
    assert (row.new.fineness, row.new.fineness_known) == (0.9, "assumed")
    (row,) = read_csv("lot,mass,weighed_on,fineness_known\nShed,1 g,2026-03-04,found\n", WRITTEN)
    assert row.new is not None
    assert (row.new.fineness, row.new.fineness_known) == (None, None)


def test_rows_before_they_are_written() -> None:
    right = CsvRow(2, {"lot": "Shed", "mass": "1 g", "weighed_on": "2026-03-04"}, WRITTEN.lots[0], None, 1.0, None)
    wrong = CsvRow(3, {"lot": "Barn"}, None, None, 1.0, UsageError("x", "There is no such lot.", "Start it."))
    assert rows_table([right, wrong]).rows == (
        ("2", "Shed", "1 g", "2026-03-04", "right"),
        ("3", "Barn", "", "", str(wrong.problem)),
    )
