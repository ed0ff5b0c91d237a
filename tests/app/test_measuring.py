"""Photos one after another: stopped between two, a bad one stops none, and the time left is what they took."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from threading import Lock

import pytest

import app.lots.measuring
from app.lots.lot_folder import Kept, LotFolder
from app.lots.measuring import Measuring, Order
from calibration.errors import PhotoError, UsageError
from grader.request import Request
from grader.scale_choice import WithoutScale

ASKED = Request(WithoutScale())


@pytest.fixture
def lot(tmp_path: Path) -> LotFolder:
    return LotFolder(tmp_path / "lot")


class Seconds:
    """A clock that tests set."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Seconds:
    return Seconds()


@pytest.fixture
def each(monkeypatch: pytest.MonkeyPatch) -> list[Callable[[Order], None]]:
    """What happens instead of measuring: every function of the list, for each photo."""
    done: list[Callable[[Order], None]] = []

    def instead(lot: LotFolder, order: Order, say: Callable[[str], None], fresh: object) -> None:
        say("scale")
        for do in done:
            do(order)

    monkeypatch.setattr(app.lots.measuring, "measure_into", instead)
    return done


def orders(count: int) -> list[Order]:
    return [Order(f"{n}.jpg", f"{n}" * 64, ASKED) for n in range(count)]


def test_a_photo_is_measured_into_the_lot(lot: LotFolder, plain_photo: bytes) -> None:
    photo = lot.hand_in("plain.png", plain_photo)
    row = Measuring([Order(photo.name, photo.sha256, ASKED)], lot, Lock())
    row.run()
    assert row.is_over
    assert not row.failures()
    assert [k.name for k in lot.measured().values()] == ["plain.png"]
    assert not lot.waiting()


def test_bad_photos_stop_none_and_wait_no_more(lot: LotFolder, plain_photo: bytes) -> None:
    photos = [lot.hand_in("empty.jpg", b""), lot.hand_in("plain.png", plain_photo), lot.hand_in("text.jpg", b"text")]
    row = Measuring([Order(p.name, p.sha256, ASKED) for p in photos], lot, Lock())
    row.run()
    assert [name for name, _ in row.failures()] == ["empty.jpg", "text.jpg"]
    assert all(isinstance(error, PhotoError) for _, error in row.failures())
    assert [k.name for k in lot.measured().values()] == ["plain.png"]
    assert not lot.waiting()


def test_a_wrong_question_keeps_the_photo(lot: LotFolder, each: list[Callable[[Order], None]]) -> None:
    photo = lot.hand_in("plain.png", b"")

    def refuse(order: Order) -> None:
        raise UsageError("point-outside", "outside", "mark again")

    each.append(refuse)
    Measuring([Order(photo.name, photo.sha256, ASKED)], lot, Lock()).run()
    assert lot.waiting() == (photo,)


def test_a_fault_of_the_program_is_told_and_stops_none(
    lot: LotFolder, each: list[Callable[[Order], None]], caplog: pytest.LogCaptureFixture
) -> None:
    def fall_over(order: Order) -> None:
        if order.name == "0.jpg":
            raise ZeroDivisionError

    each.append(fall_over)
    row = Measuring(orders(2), lot, Lock())
    row.run()
    assert [error.code for _, error in row.failures()] == ["photo-not-measured"]
    assert [t.is_done for t in row.turns] == [True, True]
    assert "ZeroDivisionError" in caplog.text


def test_stopping_ends_after_the_photo_that_was_begun(lot: LotFolder, each: list[Callable[[Order], None]]) -> None:
    row = Measuring(orders(3), lot, Lock())
    each.append(lambda order: row.stop() if order.name == "1.jpg" else None)
    row.run()
    assert [t.is_done for t in row.turns] == [True, True, False]
    assert row.is_over
    assert row.is_stopping


def test_the_time_left_is_that_of_the_photos_to_come(
    lot: LotFolder, each: list[Callable[[Order], None]], clock: Seconds
) -> None:
    left: list[float | None] = []
    row = Measuring(orders(3), lot, Lock(), clock=clock)

    def take(order: Order) -> None:
        left.append(row.seconds_left())
        clock.now += 4
        left.append(row.seconds_left())
        clock.now += 2

    each.append(take)
    row.run()
    # each photo takes 6 s: 3 are left before the first, and nothing tells how long that will be
    assert left == [None, None, 12.0, 8.0, 6.0, 2.0]
    assert row.seconds_left() == 0.0
    assert row.usual_s() == 6.0


def test_what_an_earlier_row_took_is_a_first_guess(lot: LotFolder) -> None:
    assert Measuring(orders(3), lot, Lock(), usual_s=5.0).seconds_left() == 15.0


def test_the_same_question_is_not_measured_again(
    lot: LotFolder, measured: Kept, monkeypatch: pytest.MonkeyPatch
) -> None:
    lot.put(measured)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("measured again")

    monkeypatch.setattr(app.lots.measuring, "measure", never)
    row = Measuring([Order(measured.name, measured.sha256, measured.request)], lot, Lock())
    row.run()
    assert not row.failures()
    assert row.usual_s() is None, "what took no time tells nothing"
