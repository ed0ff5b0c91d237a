"""A whole lot: the boards that its photos show, with what is stated of it."""

import pytest

from calibration.errors import UsageError
from grader.listing.amount import amount_of
from tests.listings.known import BOARDS, alone


def test_without_a_word_the_lot_is_what_the_photos_show() -> None:
    found = amount_of(alone())
    assert found.boards == alone().board_count
    assert found.gold_mg is not None
    assert alone().gold_mg is not None
    assert found.gold_mg.value == pytest.approx(alone().gold_mg.value, rel=0.02)


def test_a_count_multiplies_the_gold() -> None:
    one, five = amount_of(alone()), amount_of(alone(), count=str(5 * BOARDS))
    assert five.boards is not None
    assert (five.boards.low, five.boards.high) == (5 * BOARDS, 5 * BOARDS)
    assert one.gold_mg is not None
    assert five.gold_mg is not None
    assert five.gold_mg.value == pytest.approx(5 * one.gold_mg.value, rel=0.15)


def test_twice_the_mass_is_twice_the_boards_and_twice_the_gold() -> None:
    one, two = amount_of(alone(), mass="1 kg"), amount_of(alone(), mass="2 kg")
    assert one.boards is not None
    assert two.boards is not None
    assert two.boards.value == pytest.approx(2 * one.boards.value, rel=0.1)
    assert one.gold_mg is not None
    assert two.gold_mg is not None
    assert two.gold_mg.value == pytest.approx(2 * one.gold_mg.value, rel=0.1)
    assert "mass" in one.by


def test_a_count_and_a_mass_that_do_not_go_together_are_told_apart() -> None:
    assert amount_of(alone(), count="4..6", mass="40 kg").boards is None


def test_what_cannot_be_read_is_refused() -> None:
    with pytest.raises(UsageError):
        amount_of(alone(), mass="much")
