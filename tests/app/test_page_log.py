"""Log: what is entered on the page is what the log holds; what is wrong is told and writes nothing."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from app.common.show import as_typed
from app.lots.desk import desk
from app.lots.lot_folder import LotFolder
from app.lots.shelf import Kept
from grader.cautions import lines_for
from grader.log import NewBatch, NewCarryOver, NewLoad, NewLot, NewMoney, NewPurchase, NewYield, checked, open_log


@pytest.fixture
def log_page(page: Any, log_file: Path) -> Any:
    """The page Lots on a lot that was in the log before."""
    with open_log(log_file) as log:
        log.add_lot(NewLot(name="Shelf 3", seller="[someone](http://example.org) $5 $6"))
    page.go("log/page.py")
    page.press("Open")
    return page


def the_lot(page: Any) -> LotFolder:
    return desk().lot(page.at.session_state["desk-lot"])


def test_an_empty_log_is_not_made_by_looking_at_it(page: Any, log_file: Path) -> None:
    page.go("log/page.py")
    assert any(e.label == "All lots (0)" for e in page.at.expander)
    assert not page.at.error
    assert not log_file.exists()


def test_a_lot_is_kept_with_what_is_said_of_it(page: Any, log_file: Path) -> None:
    page.go("log/page.py")
    page.type("Its name", "Shelf 3")
    page.type("Seller, as you like to write it", "the fair")
    page.type("Kind of boards", "strips")
    page.press("Keep this lot")
    assert any("Shelf 3 is kept" in text for text in page.told("success"))
    with open_log(log_file) as log:
        assert [(lot.name, lot.seller, lot.part) for lot in log.lots()] == [("Shelf 3", "the fair", "strips")]
    page.type("Kind of boards", "memory strips")
    page.press("Keep this lot")
    with open_log(log_file) as log:
        assert [(lot.name, lot.seller, lot.part) for lot in log.lots()] == [("Shelf 3", "the fair", "memory strips")]


def test_another_lot_of_the_same_name_is_kept_with_it_only_when_that_is_meant(log_page: Any, log_file: Path) -> None:
    log_page.press("Start another lot")
    log_page.type("Its name", "shelf 3")
    log_page.press("Keep this lot")
    assert any("already a lot" in text for text in log_page.told("error"))
    (same,) = (box for box in log_page.at.checkbox if "was kept before" in box.label)
    same.check()
    log_page.press("Keep this lot")
    assert not log_page.told("error")
    with open_log(log_file) as log:
        assert len(log.lots()) == 1


def test_typed_texts_are_shown_as_typed(log_page: Any) -> None:
    log_page.press("Start another lot")
    log_page.type("Its name", "[x](http://example.org) $5 $6")
    log_page.press("Keep this lot")
    assert any("[x](http://example.org) $5 $6" in text for text in log_page.told("success"))
    assert all("](" not in str(e.value) for e in log_page.at.markdown), "a link would be made of it"


def test_measured_photos_are_kept_once(page: Any, measured: Kept, log_file: Path) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.run()
    page.type("Name of the lot", "Bench")
    page.press("Keep this lot")
    assert any("1 new estimate" in text for text in page.told("success"))
    page.run()
    page.press("Keep this lot")
    with open_log(log_file) as log:
        (lot,) = log.lots()
        assert [e.measured for e in log.entries(lot.id).estimates] == [measured.measured]
    page.go("log/page.py")
    assert measured.name in page.html()
    assert page.at.text_input(key="lot-name").value == "Bench"


def test_what_was_said_of_a_lot_elsewhere_is_kept_with_it(page: Any, measured: Kept, log_file: Path) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.at.session_state["lot-part"] = "memory strips"
    page.run()
    page.type("Name of the lot", "Bench")
    page.press("Keep this lot")
    page.at.session_state["lot-part"] = ""
    page.press("Keep this lot")
    with open_log(log_file) as log:
        assert [lot.part for lot in log.lots()] == ["memory strips"]


def test_a_lot_needs_a_name(page: Any, measured: Kept, log_file: Path) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.run()
    page.press("Keep this lot")
    assert any("name" in text for text in page.told("error"))
    with open_log(log_file) as log:
        assert not log.lots()


def test_a_kept_lot_is_renamed_everywhere_at_once(log_page: Any, log_file: Path) -> None:
    log_page.go("start/page.py")
    log_page.type("Its name", "Garage")
    log_page.run()
    with open_log(log_file) as log:
        assert [lot.name for lot in log.lots()] == ["Garage"]
        assert [change.name for change in log.contents().lot_changes] == ["Shelf 3"]
    log_page.go("log/page.py")
    assert '<div class="lot">Garage' in log_page.html()


def test_a_lot_is_deleted_with_its_photos_and_that_is_undone(
    log_page: Any, log_file: Path, plain_photo: bytes
) -> None:
    the_lot(log_page).hand_in("plain.png", plain_photo)
    log_page.run()
    first = log_page.at.session_state["desk-lot"]
    log_page.press("Delete it")
    assert any("deleted with 1 photo" in text for text in log_page.told("success"))
    assert log_page.at.session_state["desk-lot"] != first
    assert any(e.label == "All lots (0)" for e in log_page.at.expander)
    with open_log(log_file) as log:
        assert [lot.archived for lot in log.lots()] == [True]
    log_page.press("Undo")
    assert log_page.at.session_state["desk-lot"] == first
    assert [photo.name for photo in the_lot(log_page).waiting()] == ["plain.png"]
    with open_log(log_file) as log:
        assert [lot.archived for lot in log.lots()] == [False]
    log_page.press("Delete it")
    log_page.press("Remove for good")
    assert not any(b.label == "Undo" for b in log_page.at.button)


def test_a_lot_is_put_away_and_brought_back(log_page: Any, log_file: Path) -> None:
    log_page.press("Put it away")
    assert any(e.label == "All lots (0)" for e in log_page.at.expander)
    with open_log(log_file) as log:
        assert [lot.archived for lot in log.lots()] == [True]
    log_page.press("Bring it back")
    assert any(e.label == "All lots (1)" for e in log_page.at.expander)
    with open_log(log_file) as log:
        assert [lot.archived for lot in log.lots()] == [False]


def test_a_lot_that_is_not_kept_is_merged_into_this_one(log_page: Any, plain_photo: bytes) -> None:
    first = log_page.at.session_state["desk-lot"]
    log_page.press("Start another lot")
    log_page.type("Its name", "Box")
    log_page.run()
    the_lot(log_page).hand_in("plain.png", plain_photo)
    log_page.run()
    log_page.press("Open")
    assert log_page.at.session_state["desk-lot"] == first
    log_page.press("Merge it into Shelf 3")
    assert any("1 photo of Box came along" in text for text in log_page.told("success"))
    assert [photo.name for photo in the_lot(log_page).waiting()] == ["plain.png"]
    assert log_page.at.text_input(key="lot-name").value == "Shelf 3"
    assert any(e.label == "All lots (1)" for e in log_page.at.expander)


def test_two_lots_with_entries_become_one_and_two_again(log_page: Any, log_file: Path) -> None:
    with open_log(log_file) as log:
        log.add_purchase("Shelf 3", NewPurchase(price=Decimal(40), currency="USD", bought_on=date(2026, 5, 4)))
        log.add_money(
            "Shelf 3", NewMoney(kind="cost", what="acid", amount=Decimal(6), currency="USD", day=date(2026, 5, 5))
        )
        log.add_yield("Shelf 3", NewYield(mass_mg=12.0, weighed_on=date(2026, 5, 6)))

    def counted(name: str) -> tuple[int, int, list[float]]:
        with open_log(log_file) as log:
            its, every = log.entries(name), log.contents()
            number = log.lot(name).id
        lots = {each.yield_id: each.lot_id for each in every.yield_lots}
        golds = [gold.mass_mg for gold in every.current_yields() if lots[gold.id] == number]
        bought = [p for p in every.current_purchases() if p.lot_id == number]
        assert set(bought) <= set(its.purchases)
        return len(bought), sum(m.lot_id == number for m in every.current_money()), golds

    log_page.press("Start another lot")
    log_page.type("Its name", "Box")
    log_page.press("Keep this lot")
    log_page.press("Merge it into Box")
    assert any("3 entries of the log of Shelf 3 came along" in text for text in log_page.told("success"))
    assert any(e.label == "All lots (1)" for e in log_page.at.expander)
    assert counted("Box") == (1, 1, [12.0])
    assert counted("Shelf 3") == (0, 0, [])
    log_page.press("Undo")
    assert any(e.label == "All lots (2)" for e in log_page.at.expander)
    assert counted("Box") == (0, 0, [])
    assert counted("Shelf 3") == (1, 1, [12.0])
    with open_log(log_file) as log:  # what stood before is still there
        assert len(log.contents().purchases) == 3
        assert [lot.archived for lot in log.lots()] == [False, False]


def test_a_purchase_is_recorded(log_page: Any, log_file: Path) -> None:
    log_page.type("Total paid to the seller", "85.50 EUR")
    log_page.type("Mass of the boards, if known", "1 lb 2 oz")
    log_page.press("Add the purchase")
    with open_log(log_file) as log:
        (purchase,) = log.entries("Shelf 3").purchases
    assert (purchase.price, purchase.currency) == (Decimal("85.50"), "EUR")
    # avoirdupois pound of 453.59237 g (international yard and pound agreement of 1959), 18 of its sixteenths
    assert purchase.mass_g == pytest.approx(453.59237 * 18 / 16)
    assert "85.50 EUR" in log_page.html()


def test_a_yield_is_recorded(log_page: Any, log_file: Path) -> None:
    log_page.type("Gold as weighed", "1.25 g")
    log_page.type("Fineness, if known", "995")
    log_page.press("Add the yield")
    with open_log(log_file) as log:
        (gold,) = log.entries("Shelf 3").yields
    assert (gold.mass_mg, gold.fineness, gold.fineness_known) == (pytest.approx(1250), 0.995, "assumed")


def test_a_yield_of_two_lots_is_recorded(log_page: Any, log_file: Path) -> None:
    with open_log(log_file) as log:
        log.add_lot(NewLot(name="Bench"))
    log_page.run()
    log_page.type("Gold as weighed", "1.25 g")
    (others,) = log_page.at.multiselect
    others.set_value([others.options[0]])
    log_page.press("Add the yield")
    with open_log(log_file) as log:
        assert {(y.lot_id, y.copies) for y in log.contents().yield_lots} == {(1, 1.0), (2, 1.0)}


def test_a_wrong_purchase_is_corrected(log_page: Any, log_file: Path) -> None:
    log_page.type("Total paid to the seller", "850 EUR")
    log_page.press("Add the purchase")
    (wrong,) = (box for box in log_page.at.selectbox if box.label == "Takes the place of a wrong entry")
    wrong.select(1)
    log_page.type("Total paid to the seller", "85 EUR")
    log_page.press("Add the purchase")
    assert any("needs a reason" in text for text in log_page.told("error"))
    log_page.type("What was wrong with it, if it takes the place of one", "a zero too many")
    log_page.press("Add the purchase")
    with open_log(log_file) as log:
        (purchase,) = log.entries("Shelf 3").current_purchases()
    assert (purchase.price, purchase.corrects, purchase.reason) == (Decimal(85), 1, "a zero too many")
    assert "corrected by 2: a zero too many" in log_page.html()


def test_a_cost_a_sale_and_a_settlement_are_recorded(log_page: Any, log_file: Path) -> None:
    log_page.type("What it cost", "12 EUR")
    log_page.press("Add the cost")
    assert any("what it was for" in text for text in log_page.told("error"))
    log_page.type("What it was for", "freight")
    log_page.press("Add the cost")
    log_page.at.radio(key="money-kind").set_value("sale")
    log_page.run()
    log_page.type("What it brought", "30 EUR")
    log_page.type("What was sold", "bodies")
    log_page.press("Add the sale")
    log_page.at.radio(key="money-kind").set_value("settlement")
    log_page.run()
    log_page.type("Payable before charges", "100 EUR")
    log_page.type("Charges that the refiner kept back, if any", "8.50 USD")
    log_page.press("Add the settlement")
    assert any("none is converted" in text for text in log_page.told("error"))
    log_page.type("Charges that the refiner kept back, if any", "8.50 EUR")
    log_page.type("Gold delivered, if known", "1.2 g")
    log_page.press("Add the settlement")
    with open_log(log_file) as log:
        money = log.entries("Shelf 3").money
    assert [(m.kind, m.balance) for m in money] == [
        ("cost", Decimal(-12)),
        ("sale", Decimal(30)),
        ("settlement", Decimal("91.50")),
    ]
    assert money[2].gold_mg == pytest.approx(1200)
    log_page.go("learn/page.py")
    assert "109.50 EUR" in log_page.html()


@pytest.mark.parametrize(
    ("label", "text", "button"),
    [
        ("Total paid to the seller", "120", "Add the purchase"),
        ("Gold as weighed", "a pinch", "Add the yield"),
        ("Gold as weighed", "", "Add the yield"),
    ],
)
def test_a_wrong_entry_writes_nothing(log_page: Any, log_file: Path, label: str, text: str, button: str) -> None:
    log_page.type(label, text)
    log_page.press(button)
    assert len(log_page.at.error) == 1
    with open_log(log_file) as log:
        contents = log.entries("Shelf 3")
    assert not contents.purchases
    assert not contents.yields


def test_a_file_that_is_no_log_is_told_on_every_page(page: Any, measured: Kept, log_file: Path) -> None:
    log_file.write_bytes(b"a shopping list, not a log" * 10)
    before = log_file.read_bytes()
    page.at.session_state["shelf"] = {measured.sha256: measured}
    for file in ("measure/page.py", "value/page.py", "log/page.py"):
        page.go(file)
        assert any("not a log" in text for text in page.told("error")), file
    assert log_file.read_bytes() == before


def test_a_settlement_of_the_pot_is_shared_out(log_page: Any, log_file: Path) -> None:
    gold = {"fineness": 0.99, "fineness_known": "assayed", "weighed_on": date(2026, 3, 4)}
    with open_log(log_file) as log:
        log.add_lot(NewLot(name="Bench"))
        log.add_yield("Shelf 3", checked(NewYield, mass_mg=1000.0, **gold))
        log.add_yield("Bench", checked(NewYield, mass_mg=500.0, **gold))
    log_page.run()
    assert any(e.label == "Gold that waits for a settlement (2)" for e in log_page.at.expander)
    log_page.type("Payable for it before charges", "100 EUR")
    log_page.press("Share out the settlement")
    assert any("shared out to 2 lots" in text for text in log_page.told("success"))
    with open_log(log_file) as log:
        assert [m.amount for m in log.contents().money] == [Decimal("66.67"), Decimal("33.33")]
    assert not any(e.label.startswith("Gold that waits") for e in log_page.at.expander)


def test_batches_and_boards_that_wait_are_shown_with_the_cautions(log_page: Any, log_file: Path) -> None:
    with open_log(log_file) as log:
        day = date(2026, 11, 20)
        log.add_batch(NewBatch(name="First batch", started_on=day))
        log.add_load("First batch", NewLoad(loaded_on=day), {"Shelf 3": 1.0})
        log.add_carry_over("First batch", "Shelf 3", NewCarryOver(copies=0.1))
    log_page.go("log/page.py")
    assert not log_page.at.exception
    assert any(e.label == "Batches (1)" for e in log_page.at.expander)
    (shown,) = (str(w.value) for w in log_page.at.warning)
    assert [as_typed(text) for text in lines_for("batch")] == shown.split("\n\n")


def test_a_yield_that_looks_wrong_is_asked_about_first(log_page: Any, log_file: Path) -> None:
    log_page.type("Gold as weighed", "1e9 kg")
    log_page.press("Add the yield")
    assert any("more than a workshop sees" in text for text in log_page.told("warning"))
    with open_log(log_file) as log:
        assert log.contents().yields == ()
    log_page.press("Add the yield")  # without the tick it is asked again
    log_page.type("Gold as weighed", "2e9 kg")
    (sure,) = [box for box in log_page.at.checkbox if "It is right" in box.label]
    sure.check()
    log_page.press("Add the yield")  # another entry than the one that was asked about
    with open_log(log_file) as log:
        assert log.contents().yields == ()
    log_page.press("Add the yield")
    with open_log(log_file) as log:
        assert [y.mass_mg for y in log.contents().yields] == [pytest.approx(2e15)]
    assert not [box for box in log_page.at.checkbox if "It is right" in box.label]


def test_a_log_that_was_set_aside_is_told(page: Any, log_file: Path) -> None:
    open_log(log_file).close()
    log_file.rename(log_file.with_name(f"{log_file.name}.before-1"))
    page.go("log/page.py")
    assert any("before-1" in text for text in map(str, page.told("error")))
    page.type("Its name", "Shelf 3")
    page.press("Keep this lot")
    assert not log_file.exists()
