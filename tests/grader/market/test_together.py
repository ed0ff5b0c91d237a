"""The pictures of one listing: boards that several of them show count once."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import cv2
import pytest

from grader.lot import estimate_lot
from grader.lot_offer import typed_assumptions
from grader.market import together
from grader.market.listings import read_market
from grader.market.market import Market
from grader.market.pictures import FAILED, KNOWN, MEASURED, PictureRow
from grader.market.together import SeenTogether, content_of_all, measure_together
from grader.measured import Measured
from grader.request import Request
from grader.samples import samples_folder

REQUEST = Request().as_json()
BOARDS = 4


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A listing of two pictures of the same four boards, and a file that is no picture."""
    place = tmp_path_factory.mktemp("market") / "twice"
    place.mkdir()
    picture = samples_folder() / "memory-modules.jpg"
    (place / "1.jpg").write_bytes(picture.read_bytes())
    cv2.imwrite(str(place / "2.jpg"), cv2.imread(str(picture)), [cv2.IMWRITE_JPEG_QUALITY, 70])
    (place / "3.jpg").write_bytes(b"no picture")
    return place


@pytest.fixture(scope="module")
def rows(folder: Path) -> list[PictureRow]:
    return measure_together([str(folder / name) for name in ("1.jpg", "2.jpg", "3.jpg")], REQUEST)


def rows_of(place: Path) -> list[PictureRow]:
    """Measured rows of results, as they were kept."""
    kept = [json.loads(line) for file in (place / "results").iterdir() for line in file.read_text().splitlines()]
    return [row for row in kept if row["state"] == MEASURED]


def test_every_picture_has_a_row_and_the_boards_have_one(rows: list[PictureRow]) -> None:
    assert [row["state"] for row in rows] == [MEASURED, MEASURED, FAILED, MEASURED]
    assert rows[-1]["content"] == content_of_all(row["content"] for row in rows[:-1])
    assert content_of_all(["b", "a", "a", "no:c"]) == content_of_all(["a", "b"]) != content_of_all(["a"])


def test_boards_that_two_pictures_show_count_once(rows: list[PictureRow]) -> None:
    seen = SeenTogether.of(rows[-1])
    assert seen is not None
    lot = estimate_lot(seen.lot(count="", mass="", kind=""))
    assert lot.parts[0].part.boards_seen == BOARDS
    assert "2 pictures show 4 boards" in seen.note


def test_a_market_values_the_boards_once_and_says_so(folder: Path, tmp_path: Path) -> None:
    done: list[int] = []
    market = Market(read_market(str(folder.parent)), Request(), str(tmp_path / "results"))
    content = market.measure(told=done.append)
    (twice,) = market.ranked(content, typed_assumptions(spot="85 USD/g", spot_date=date(2026, 6, 1)))
    assert (sum(done), market.picture_count, len(content)) == (3, 3, 3)
    assert any("2 pictures show 4 boards" in note for note in twice.notes)
    first, second, *_ = (Measured.from_dict(json.loads(row["record"])) for row in rows_of(tmp_path) if row["picture"])
    assert twice.gold_mg is not None
    assert twice.gold_mg[1] == pytest.approx((first.gold_mg.value + second.gold_mg.value) / 2, rel=0.1)
    assert market.measure(told=done.append) == content


def test_what_is_known_is_not_measured_again_and_an_added_picture_is_matched(
    folder: Path, rows: list[PictureRow], monkeypatch: pytest.MonkeyPatch
) -> None:
    pictures = [str(folder / name) for name in ("1.jpg", "2.jpg", "3.jpg")]
    known = frozenset(row["content"] for row in rows)
    matched: list[int] = []
    monkeypatch.setattr(together, "_record", lambda measured, _: matched.append(len(measured)) or "")
    again = measure_together(pictures, REQUEST, known)
    assert [row["state"] for row in again] == [KNOWN, KNOWN, KNOWN]
    assert matched == []
    one_new = measure_together(pictures, REQUEST, frozenset({rows[0]["content"]}))
    assert [row["state"] for row in one_new[:2]] == [KNOWN, MEASURED]
    assert matched == [2]


def test_what_goes_wrong_with_the_boards_leaves_the_pictures(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("out of luck")

    monkeypatch.setattr(together, "_record", fails)
    picture, boards = measure_together([str(folder / "1.jpg")], REQUEST)
    assert (picture["state"], boards["state"], boards["code"]) == (MEASURED, FAILED, "unforeseen")
    assert SeenTogether.of(boards) is None


def test_one_picture_has_nothing_to_match(folder: Path) -> None:
    boards = measure_together([str(folder / "1.jpg"), str(folder / "3.jpg")], REQUEST)[-1]
    assert (boards["state"], boards["record"]) == (MEASURED, "")
    assert SeenTogether.of(boards) is None
    assert SeenTogether.of(None) is None
