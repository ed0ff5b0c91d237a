"""The sheet of a lot: what a tap means, steps back and forth, and what is there after a reload."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from app.lots.lot_folder import LotFolder
from app.lots.sheets import (
    BoardSheet,
    Records,
    SheetLook,
    corrections,
    is_undecided,
    is_wanted,
    keep_sheet,
    keep_step,
    kept_sheet,
    last_words,
    made_of,
    redo,
    undo,
    want,
)
from app.lots.shelf import Kept
from app.sheet.saying import another_board, no_board, one_board, two_faces
from grader import places
from grader.listing import PhotoPoint, Saying

A, B, C = (letter * 12 for letter in "abc")


def look(photo: str, x: float, face: str = "front") -> SheetLook:
    return SheetLook(PhotoPoint(photo, (x, 10.0)), f"{photo[0]}.jpg", face, is_best=True, sure=1.0, picture=b"jpeg")


def sheet(*boards: tuple[SheetLook, ...], none: tuple[SheetLook, ...] = ()) -> BoardSheet:
    words = tuple("" for _ in boards)
    return BoardSheet("x", boards, words, none, "2 boards", "2 boards in 3 photos", (), Records(None, None, None))


def words_of(said: list[Saying]) -> dict[frozenset[str], str]:
    """What was said last of each pair, by photo and place."""
    found = {}
    for each in said:
        spots = [each.one, *([] if each.other is None else [each.other])]
        found[frozenset(f"{s.photo[0]}{s.at_px[0]:.0f}" for s in spots)] = each.word
    return found


@pytest.fixture
def lot(tmp_path: Path) -> LotFolder:
    return LotFolder(tmp_path / "in-progress" / "lot")


def test_two_boards_that_are_one_are_joined_with_all_their_looks() -> None:
    one, two = (look(A, 1), look(B, 1)), (look(C, 2),)
    said = words_of(one_board(sheet(one, two), one[0], two[0]))
    assert said == {frozenset({"a1", "c2"}): "same", frozenset({"b1", "c2"}): "same"}


def test_a_look_moves_alone_to_a_board_that_its_board_is_seen_beside() -> None:
    # both boards are in photo a: they cannot be one, so that only the look in b moves, and leaves its old board
    one, two = (look(A, 1), look(B, 1)), (look(A, 2), look(C, 2))
    said = words_of(one_board(sheet(one, two), one[1], two[1]))
    assert said == {
        frozenset({"a1", "b1"}): "apart",
        frozenset({"b1", "a2"}): "same",
        frozenset({"b1", "c2"}): "same",
    }


def test_a_back_goes_to_its_front_and_to_all_looks_at_it() -> None:
    one, two = (look(A, 1), look(B, 1)), (look(C, 2),)
    said = words_of(two_faces(sheet(one, two), one[0], two[0]))
    assert said == {frozenset({"a1", "c2"}): "backs", frozenset({"b1", "c2"}): "backs"}


def test_faces_stay_faces_when_boards_are_joined() -> None:
    one, two = (look(A, 1), look(B, 1, "back")), (look(C, 2),)
    said = words_of(one_board(sheet(one, two), one[0], two[0]))
    assert said == {frozenset({"a1", "c2"}): "same", frozenset({"b1", "c2"}): "backs"}


def test_a_look_of_its_own_leaves_its_board() -> None:
    one = (look(A, 1), look(B, 1), look(C, 1))
    said = words_of(another_board(sheet(one), [one[1]]))
    assert said == {frozenset({"a1", "b1"}): "apart", frozenset({"b1", "c1"}): "apart"}


def test_what_was_taken_for_no_board_is_one_when_it_is_joined() -> None:
    one, left_out = (look(A, 1),), look(B, 9)
    said = words_of(one_board(sheet(one, none=(left_out,)), one[0], left_out))
    assert said[frozenset({"b9"})] == "board"
    assert said[frozenset({"a1", "b9"})] == "same"
    assert words_of(no_board([one[0]])) == {frozenset({"a1"}): "none"}


def test_no_tap_says_two_things_of_one_pair() -> None:
    boards = ((look(A, 1), look(B, 1, "back")), (look(A, 2), look(C, 2)), (look(B, 3), look(C, 3)))
    for one, other in combinations([each for board in boards for each in board], 2):
        for said in (one_board(sheet(*boards), one, other), two_faces(sheet(*boards), one, other)):
            pairs = [frozenset({s.one, s.other}) for s in said if s.other is not None]
            assert len(pairs) == len(set(pairs))


def test_steps_are_kept_taken_back_and_done_again(lot: LotFolder) -> None:
    first = [Saying("none", PhotoPoint(A, (1.0, 2.0)))]
    second = [Saying("same", PhotoPoint(A, (1.0, 2.0)), PhotoPoint(B, (3.0, 4.0)))]
    before = made_of(lot)
    keep_step(lot, "first", first)
    keep_step(lot, "second", second)
    again = LotFolder(lot.folder)  # as another window, or after a reload
    assert corrections(again).sayings == (*first, *second)
    assert made_of(again) != before
    undo(again)
    assert corrections(lot).sayings == tuple(first)
    assert last_words(lot) == ("first", "second")
    redo(lot)
    assert corrections(lot).sayings == (*first, *second)
    undo(lot)
    keep_step(lot, "third", second)
    assert last_words(lot) == ("third", None)


def test_a_sheet_is_there_after_a_reload(lot: LotFolder) -> None:
    assert kept_sheet(lot) is None
    made = sheet((look(A, 1), look(B, 1.5, "back")), none=(look(C, 3),))
    keep_sheet(lot, made)
    assert kept_sheet(LotFolder(lot.folder)) == made
    (lot.folder / "sheet.json").write_text("{}")
    assert kept_sheet(lot) is None


def test_several_photos_count_once_only_where_somebody_wants_it(lot: LotFolder) -> None:
    lot.hand_in("a.jpg", b"1")
    assert is_undecided(lot)
    want(lot)
    assert not is_wanted(lot)  # one photo shows nothing twice
    lot.hand_in("b.jpg", b"2")
    assert is_wanted(lot)
    want(lot, wanted=False)
    assert not is_wanted(lot)
    assert not is_undecided(lot)


def test_the_price_takes_boards_once_or_photo_by_photo(measured: Kept, page: Any) -> None:
    twin = "f" * 64
    record = measured.measured.model_copy(update={"sha256": twin, "photo": "twin.jpg"})
    shelf = [measured, replace(measured, name="twin.jpg", sha256=twin, measured=record)]
    page.at.session_state["shelf"] = {done.sha256: done for done in shelf}
    page.go("value/page.py")
    lot = LotFolder(places.data_folder() / "in-progress" / page.at.session_state["desk-lot"])
    assert lot.photo_count == 2
    want(lot)
    board = (look(measured.sha256[:12], 5), look(twin[:12], 5))
    found = replace(sheet(board), made_of=made_of(lot), records=Records(None, None, measured.measured))
    keep_sheet(lot, found)
    page.at.run()
    assert any("each counted once" in text.value for text in page.at.markdown)
    assert [e.label for e in page.at.expander if e.label.startswith("What is known")] == [
        "What is known of the boards"
    ]
    page.type("Gold price today", "2650")
    page.press("What can I pay?")
    assert not page.told("error")
    once = page.html()
    page.press("Count the boards of each picture instead")
    assert not any("each counted once" in text.value for text in page.at.markdown)
    assert any(e.label == "What the 2 photos show" for e in page.at.expander)
    assert page.html() != once  # twice the boards
    page.press("These pictures show the same boards: count each once")
    assert any("each counted once" in text.value for text in page.at.markdown)
