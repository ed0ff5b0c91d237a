"""What is said of a lot can be changed; what was said before stays, and its entries do not move."""

from __future__ import annotations

from datetime import date

import pytest

from calibration.errors import UsageError
from grader.log import Log, NewLot, NewPurchase, checked, to_csv


@pytest.fixture
def two(log: Log) -> Log:
    log.add_lot(NewLot(name="Shed", seller="fair"))
    log.add_lot(NewLot(name="Shelf 3"))
    price = checked(NewPurchase, price="40", currency="EUR", bought_on=date(2026, 2, 3))
    log.add_purchase("Shed", price)
    return log


def test_a_lot_is_renamed_with_its_entries(two: Log) -> None:
    shed = two.lot("Shed")
    renamed = two.change_lot("Shed", shed.as_new(name="Garage", part="strips"), who="Ann")
    assert (renamed.id, renamed.name, renamed.seller, renamed.part) == (shed.id, "Garage", "fair", "strips")
    assert two.lot("garage") == renamed
    (paid,) = two.entries("Garage").purchases
    assert paid.lot_id == shed.id
    (before,) = two.contents().lot_changes
    assert (before.lot_id, before.name, before.part, before.who) == (shed.id, "Shed", "", "Ann")
    assert ",Shed,fair,,,False,Ann," in to_csv(two.contents(), "lot_changes")
    with pytest.raises(UsageError) as gone:
        two.lot("Shed")
    assert gone.value.code == "lot-unknown"


def test_a_name_that_another_lot_has_is_refused(two: Log) -> None:
    with pytest.raises(UsageError) as taken:
        two.change_lot("Shed", NewLot(name="SHELF 3"))
    assert taken.value.code == "lot-exists"
    assert two.lot("Shed").name == "Shed"
    assert not two.contents().lot_changes
    assert two.change_lot("Shed", two.lot("Shed").as_new(name="SHED")).name == "SHED"


def test_a_lot_is_put_away_and_brought_back_and_counts_all_the_while(two: Log) -> None:
    shed = two.lot("Shed")
    assert two.change_lot("Shed", shed.as_new(), archived=True).archived
    assert [lot.archived for lot in two.lots()] == [True, False]
    assert len(two.contents().current_purchases()) == 1
    assert two.change_lot("Shed", shed.as_new(note="oak")).archived, "what is not said stays"
    assert not two.change_lot("Shed", shed.as_new(), archived=False).archived
    assert [change.archived for change in two.contents().lot_changes] == [False, True, True]


def test_what_changes_nothing_is_not_written(two: Log) -> None:
    shed = two.lot("Shed")
    assert two.change_lot("Shed", shed.as_new(), archived=False) == shed
    assert not two.contents().lot_changes
