"""A listing read whole, on one of our own renders and copies of it: nothing about the files themselves matters."""

from collections.abc import Callable
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest

from calibration.errors import UsageError
from grader.listing import Listing, ListingCorrections, PhotoPoint, Saying, read_listing, see_listing
from grader.listing.sheet import inner_point, sheet_html
from grader.lot import estimate_lot
from grader.model import EMPTY
from tests.listings.known import BOARDS, PICTURE, alone


@cache
def rgb() -> np.ndarray:
    return cv2.imread(str(PICTURE))


def coded(picture: np.ndarray, quality: int = 90) -> bytes:
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])


COPIES: dict[str, Callable[[], bytes]] = {
    "packed": lambda: coded(rgb(), 70),
    "turned": lambda: coded(np.rot90(rgb()).copy()),
}


def area(listing: Listing) -> float:
    assert listing.plated_area_mm2 is not None
    return listing.plated_area_mm2.value


def test_one_photo_is_a_listing() -> None:
    assert len(alone().boards) == BOARDS
    assert alone().board_count.value == BOARDS
    gold = estimate_lot(alone().lot()).gold_mg
    assert alone().gold_mg is not None
    assert float(np.median(gold.draws())) == pytest.approx(alone().gold_mg.value, rel=0.02)


def test_a_duplicate_a_wrong_file_and_names_change_nothing(tmp_path: Path) -> None:
    other, wrong = tmp_path / "z.jpg", tmp_path / "a.jpg"
    other.write_bytes(PICTURE.read_bytes())
    wrong.write_bytes(b"no picture")
    found = read_listing([wrong, other, PICTURE])
    assert [p.area_mm2 for p in found.boards] == [p.area_mm2 for p in alone().boards]
    assert found.plated_area_mm2 == alone().plated_area_mm2
    assert found.board_count == alone().board_count
    assert {n.code for n in found.notices} >= {"listing-copy", "listing-photo-left-out"}


@pytest.mark.parametrize("copy", COPIES)
def test_a_copy_adds_no_board_and_hardly_any_area(copy: str) -> None:
    found = read_listing([PICTURE, COPIES[copy]()])
    assert len(found.boards) == BOARDS
    assert found.board_count.value == BOARDS
    assert area(found) == pytest.approx(area(alone()), rel=0.04)
    swapped = read_listing([COPIES[copy](), PICTURE])
    assert swapped.plated_area_mm2 == found.plated_area_mm2


def test_a_saying_parts_what_was_joined() -> None:
    copy = COPIES["packed"]()
    found = read_listing([PICTURE, copy])
    one, other = found.boards[0].looks[:2]
    spots = [PhotoPoint(found.photos[e.look.photo].sha256[:8], inner_point(e.look.outline_px)) for e in (one, other)]
    said = ListingCorrections((Saying("apart", *spots), Saying("same", PhotoPoint("gone.jpg", (1.0, 1.0)), spots[0])))
    again = read_listing([PICTURE, copy], corrections=said)
    assert len(again.boards) == BOARDS + 1
    assert "listing-word-unused" in {n.code for n in again.notices}


def test_what_is_said_to_be_no_board_is_left_out_without_measuring_again() -> None:
    seen = see_listing([PICTURE])
    whole = seen.listing()
    assert whole.plated_area_mm2 == alone().plated_area_mm2
    look = whole.boards[1].looks[0].look
    spot = PhotoPoint(whole.photos[0].sha256[:8], inner_point(look.outline_px))
    without = seen.listing(ListingCorrections((Saying("none", spot),)))
    assert len(without.boards) == BOARDS - 1
    assert [each.look.board for each in without.no_boards] == [look.board]
    assert without.board_count.value == BOARDS - 1
    own = sum(whole.boards[1].area_mm2.values(), EMPTY).draws()
    assert area(without) == pytest.approx(area(whole) - float(np.median(own)), rel=0.1)
    again = seen.listing(ListingCorrections((Saying("none", spot), Saying("board", spot))))
    assert len(again.boards) == BOARDS


def test_the_sheet_names_every_look_and_escapes_names(tmp_path: Path) -> None:
    odd = tmp_path / "a<b>&.jpg"
    odd.write_bytes(PICTURE.read_bytes())
    html = sheet_html(read_listing([odd]), "Lot <1>")
    assert html.count("<figure") == BOARDS
    assert "a&lt;b&gt;&amp;.jpg" in html
    assert "<1>" not in html


def test_nothing_to_read_is_refused() -> None:
    with pytest.raises(UsageError) as told:
        read_listing([b"no picture"])
    assert told.value.code == "listing-empty"
