"""A lot of the log remembers which pictures show the same boards, as long as its pictures stay as they were."""

from __future__ import annotations

from pathlib import Path

from app.lots.kept_boards import as_noted, boards_of, noted_in
from app.lots.sheets import BoardSheet
from grader.log import NewLot, PhotoRecord, open_log
from tests.listings.known import BOARDS, alone


def test_a_lot_of_the_log_counts_each_board_once(tmp_path: Path) -> None:
    sheet = BoardSheet.of(alone(), "x")
    noted = as_noted(sheet)
    assert sheet.records.fronts is not None
    document = sheet.records.fronts.to_dict()
    photo = PhotoRecord(sha256=sheet.records.fronts.sha256, name="front.jpg", width_px=2000, height_px=1500)
    with open_log(str(tmp_path / "log.sqlite")) as log:
        lot = log.add_lot(NewLot(name="shelf")).id
        log.add_estimates(lot, [(photo, document)])
        assert noted_in(log.entries(lot)) == {}
        log.add_offer(lot, {"highest_price": 1.0, **noted})
        kept = noted_in(log.entries(lot))
        assert boards_of(kept) == sheet.records
        assert len(kept["boards_seen"]["boards"]) == BOARDS
        assert {look["photo"] for board in kept["boards_seen"]["boards"] for look in board} == {
            alone().photos[0].name
        }
        # an offer that counts picture by picture, or a picture measured later, ends it
        log.add_offer(lot, {"highest_price": 1.0})
        assert noted_in(log.entries(lot)) == {}
        log.add_offer(lot, {"highest_price": 1.0, **kept})
        assert noted_in(log.entries(lot)) == kept
        changed = {**document, "notices": []}
        log.add_estimates(lot, [(photo, changed)])
        assert noted_in(log.entries(lot)) == {}


def test_what_cannot_be_read_counts_picture_by_picture() -> None:
    for noted in ({}, {"boards_seen": None}, {"boards_seen": {"records": {"fronts": {}}}}):
        assert boards_of(noted) is None
