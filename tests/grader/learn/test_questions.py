"""What looks wrong is questioned before it is kept; what is sound never is."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from grader.learn.csv_import import questions_of, read_csv
from grader.learn.invented import invented, write_invented
from grader.learn.questions import Asker, of_amount, of_carry_over, of_load
from grader.log import (
    Contents,
    Log,
    NewAmount,
    NewBatch,
    NewCarryOver,
    NewLoad,
    NewLot,
    NewPurchase,
    NewYield,
    checked,
    open_log,
    photo_of,
)

TODAY = date(2026, 11, 30)


@pytest.fixture(scope="module")
def contents(tmp_path_factory: pytest.TempPathFactory) -> Contents:
    """Of an invented log: lot 1 is photographed."""
    path = tmp_path_factory.mktemp("log") / "log.sqlite"
    write_invented(path)
    with open_log(path) as log:
        return log.contents()


def gold(mass_mg: float, **changes: Any) -> NewYield:
    return checked(NewYield, **{"mass_mg": mass_mg, "weighed_on": date(2026, 5, 6), **changes})


def purchase(**changes: Any) -> NewPurchase:
    return checked(NewPurchase, **{"price": "120", "currency": "USD", "bought_on": date(2026, 5, 6), **changes})


def estimate_mg(contents: Contents, lot: int) -> float:
    return sum(e.measured.gold_mg.value for e in contents.latest_estimates() if e.lot_id == lot)


def test_sound_yields_are_never_questioned(contents: Contents):
    asker = Asker(contents, TODAY)
    for number, each in enumerate(invented(30), start=1):
        assert asker.of_yield(each.gold, {number: 1.0}) == ()
        assert asker.of_purchase(each.purchase, number) == ()


@pytest.mark.parametrize("factor", [1e3, 1e-3, 10.0, 0.1])
def test_a_slip_is_questioned_and_undone_in_the_question(contents: Contents, factor: float):
    asker = Asker(contents, TODAY)
    meant = estimate_mg(contents, 1)
    assert asker.of_yield(gold(meant), {1: 1.0}) == ()
    (question,) = asker.of_yield(gold(meant * factor), {1: 1.0})
    assert question.code == "yield-far-from-estimate"
    shown = f"{meant / 1e3:.4g} g" if meant >= 1e3 else f"{meant:.3g} mg"
    assert f"Did you mean {shown}?" in question.message
    assert question.advice


def test_another_unit_is_named(contents: Contents):
    (question,) = Asker(contents, TODAY).of_yield(gold(31.1 * estimate_mg(contents, 1)), {1: 1.0})
    assert "grams taken for troy ounces" in question.message


@pytest.mark.parametrize("copies", [0.02, 0.05, 20.0])
def test_copies_and_gold_go_together(contents: Contents, copies: float):
    asker = Asker(contents, TODAY)
    mass = copies * estimate_mg(contents, 1)
    assert asker.of_yield(gold(mass), {1: copies}) == ()
    (question,) = asker.of_yield(gold(mass), {1: 1.0})
    assert question.code == "yield-far-from-estimate"


def test_lots_are_taken_together(contents: Contents):
    asker = Asker(contents, TODAY)
    both = estimate_mg(contents, 1) + estimate_mg(contents, 2)
    assert asker.of_yield(gold(both), {1: 1.0, 2: 1.0}) == ()
    assert asker.of_yield(gold(1000 * both), {1: 1.0, 2: 1.0})


@pytest.mark.parametrize(
    ("mass_mg", "changes", "lots", "code"),
    [
        (1e36, {}, {1: 1.0}, "gold-odd"),
        (5.0, {}, {1: 1e-308}, "copies-odd"),
        (5.0, {}, {1: 1e300}, "copies-odd"),
        (500.0, {"uncertainty_mg": 1e4}, {1: 1.0}, "uncertainty-odd"),
        (500.0, {"carried_in_mg": 5000.0}, {1: 1.0}, "carried-in-odd"),
        (500.0, {"lost_mg": 1e9}, {1: 1.0}, "gold-odd"),
        (500.0, {"weighed_on": date(2062, 1, 1)}, {1: 1.0}, "day-odd"),
        (500.0, {"weighed_on": date(26, 1, 1)}, {1: 1.0}, "day-odd"),
    ],
)
def test_absurd_yields(contents: Contents, mass_mg: float, changes: Any, lots: dict[int, float], code: str):
    assert code in [q.code for q in Asker(contents, TODAY).of_yield(gold(mass_mg, **changes), lots)]


def test_nothing_is_a_yield_and_what_the_log_refuses_is_left_to_it(contents: Contents):
    asker = Asker(contents, TODAY)
    assert asker.of_yield(gold(0.0), {1: 1.0}) == ()
    for copies in (0.0, -1.0, float("nan"), float("inf")):
        assert asker.of_yield(gold(5.0), {1: copies}) == ()


def test_gold_by_the_mass_of_the_boards(tmp_path: Path):
    with open_log(tmp_path / "log.sqlite") as log:
        log.add_lot(checked(NewLot, name="Shed"))
        log.add_purchase("Shed", purchase(mass_g=1000.0))
        asker = Asker(log.contents(), TODAY)
        assert asker.of_yield(gold(5e3), {1: 1.0}) == ()
        assert [q.code for q in asker.of_yield(gold(50e3), {1: 1.0})] == ["gold-share-odd"]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"mass_g": 1e33}, "boards-mass-odd"),
        ({"mass_g": 1e-6}, "boards-mass-odd"),
        ({"mass_g": 2e6, "count": 4}, "board-mass-odd"),
        ({"count": 10**15}, "count-odd"),
        ({"price": "12000000", "currency": "EUR"}, "price-beyond-others"),
        ({"price": "1E+18"}, "price-odd"),
        ({"bought_on": date(2126, 5, 6)}, "day-odd"),
    ],
)
def test_absurd_purchases(contents: Contents, changes: Any, code: str):
    assert code in [q.code for q in Asker(contents, TODAY).of_purchase(purchase(**changes), 1)]


def test_a_price_far_beyond_the_lots_gold(tmp_path: Path):
    with open_log(tmp_path / "log.sqlite") as log:
        log.add_lot(checked(NewLot, name="Shed"))
        log.add_offer("Shed", {"currency": "USD", "proceeds": {"value": 80.0, "low": 50.0, "high": 120.0}})
        asker = Asker(log.contents(), TODAY)
        assert asker.of_purchase(purchase(price=Decimal("300")), 1) == ()
        assert asker.of_purchase(purchase(price="12000", currency="EUR"), 1) == ()
        (question,) = asker.of_purchase(purchase(price="12000"), 1)
    assert question.code == "price-beyond-gold"
    assert "100 times" in question.message


def test_absurd_entries_of_batches():
    day = date(2026, 5, 6)
    assert of_load(checked(NewLoad, mass_g=470.0, loaded_on=day), {"Shed": 0.5}, TODAY) == ()
    assert [q.code for q in of_load(checked(NewLoad, mass_g=1e33, loaded_on=day), {}, TODAY)] == ["boards-mass-odd"]
    assert [q.code for q in of_load(checked(NewLoad, loaded_on=day), {"Shed": 1e-308}, TODAY)] == ["copies-odd"]
    for unit, usual in (("ml", 1600.0), ("g", 30.0), ("h", 2.0), ("pieces", 3.0)):
        acid = {"kind": "used", "what": "acid", "unit": unit}
        assert of_amount(checked(NewAmount, amount=usual, **acid)) == ()
        (question,) = of_amount(checked(NewAmount, amount=1e30, **acid))
        assert question.code == "amount-odd"
    assert of_carry_over(checked(NewCarryOver, copies=0.1)) == ()
    assert of_carry_over(checked(NewCarryOver, copies=0.1, left_mg=1e9, left_uncertainty_mg=1.0))


def test_a_batch_and_a_correction_are_held_against_the_same_estimate(tmp_path: Path):
    each = invented(1)[0]
    with open_log(tmp_path / "log.sqlite") as log:
        _with_photo(log)
        log.add_batch(checked(NewBatch, name="First", started_on=date(2026, 1, 1)))
        log.add_load("First", checked(NewLoad, loaded_on=date(2026, 1, 1)), {1: 2.0})
        wrong = log.add_yield(1, gold(each.gold.mass_mg))
        asker = Asker(log.contents(), TODAY)
        assert asker.of_batch_yield(gold(2 * each.gold.mass_mg), "first") == ()
        assert [q.code for q in asker.of_batch_yield(gold(2000 * each.gold.mass_mg), "first")] == [
            "yield-far-from-estimate"
        ]
        assert asker.of_correction(gold(1.1 * each.gold.mass_mg), wrong.id) == ()
        assert asker.of_correction(gold(1100 * each.gold.mass_mg), wrong.id)


def test_rows_of_a_file_are_questioned_one_by_one(tmp_path: Path):
    each = invented(1)[0]
    with open_log(tmp_path / "log.sqlite") as log:
        lot = _with_photo(log)
        text = (
            f"lot,mass,weighed_on\n{lot},{each.gold.mass_mg} mg,2026-03-04\n{lot},{each.gold.mass_mg} g,2026-03-05\n"
        )
        rows = read_csv(text, log.contents(), TODAY)
    assert [len(row.questions) for row in rows] == [0, 1]
    (question,) = questions_of(rows)
    assert question.message.startswith("Line 3: ")


def _with_photo(log: Log) -> str:
    each = invented(1)[0]
    log.add_lot(each.lot)
    document = each.measured().to_dict()
    log.add_estimate(1, photo_of(document), document)
    return each.lot.name
