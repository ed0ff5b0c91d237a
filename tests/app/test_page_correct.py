"""Correcting on the page: what the picture gives is what is measured, kept, logged and exported."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import streamlit as st

import app.photo_view.correcting
from app.lots.desk import desk
from app.lots.lot_folder import Kept, LotFolder
from app.lots.measuring import Order, measure_into
from app.photo_view import History
from calibration.finishes import FINISHES
from calibration.scale import Scale
from grader.correct import Corrections, LeftOut, PaintedIn
from grader.coverage import Coverage
from grader.log import open_log
from grader.measured import MadeCorrections, Measured
from grader.photo import Photo
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import GREEN_MASK, KnownCoverage, box, paint, union_share
from tests.segmenters import default_segmenter

SHAPE = (300, 400)
PAD, OTHER = box((120, 120), 60, 40), box((280, 200), 50, 50)
SCALE = ByLength(20.0, (10.0, 10.0), (170.0, 10.0))
LEAVE_OUT = {"kind": "leave_out", "at_px": [120.0, 120.0]}
PAINT_IN = {"kind": "paint_in", "path_px": [[150.0, 250.0], [200.0, 250.0]], "radius_px": 8.0, "finish": "hard_gold"}
LEFT = 50 * 50 / (50 * 50 + 60 * 40)


class Drawn:
    """Finds the two drawn pads."""

    name = "drawn"
    share = union_share([PAD, OTHER], SHAPE)
    calls = 0

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        type(self).calls += 1
        return KnownCoverage(self.share, np.ones(SHAPE, bool), name=self.name).segment(photo, scale)


@pytest.fixture(autouse=True)
def drawn_pads() -> Iterator[None]:
    with default_segmenter(Drawn):
        yield


@pytest.fixture
def photo() -> bytes:
    rgb = paint([(np.ones(SHAPE), GREEN_MASK), (Drawn.share, (0.8, 0.6, 0.25))])
    return bytes(cv2.imencode(".png", rgb[..., ::-1])[1])


class Picture:
    """The picture in the browser: what it was last given, and what a person does on it."""

    def __init__(self) -> None:
        self.shown: list[dict[str, Any]] = []
        self._made: Any = None

    def do(self, *done: Any, undone: Sequence[Any] = (), views_ago: int = 0) -> None:
        """Have done these corrections when the page is drawn next, on the view shown now or on an earlier one."""
        version = self.shown[-1]["version"] - views_ago
        self._made = {"version": version, "done": list(done), "undone": list(undone)}

    def say(self, told: Any) -> None:
        """Send something else."""
        self._made = told

    def component(self, *, key: str, data: dict[str, Any], on_corrections_change: Any) -> None:
        self.shown.append(data)
        told, self._made = self._made, None
        if told is not None:
            st.session_state[key] = {"corrections": told}
            on_corrections_change()


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Picture:
    picture = Picture()
    monkeypatch.setattr(app.photo_view.correcting, "photo_correct", picture.component)
    return picture


@pytest.fixture
def measured_page(page: Any, photo: bytes, made: Picture) -> Iterator[Any]:
    """The page with the photo measured and open to be corrected."""
    lot = desk().lot(page.at.session_state["desk-lot"])
    done = measure_into(lot, Order("pads.png", lot.hand_in("pads.png", photo).sha256, Request(SCALE)), lambda _: None)
    assert done.has_gold
    page.run()
    page.press("Correct what was found")
    return page


def the_lot(page: Any) -> LotFolder:
    return desk().lot(page.at.session_state["desk-lot"])


def the_one(page: Any) -> Kept:
    (done,) = the_lot(page).measured().values()
    return done


def area(done: Kept) -> float:
    return done.measured.plated_area_mm2.value


def test_the_picture_is_told_what_was_found(measured_page: Any, made: Picture) -> None:
    data = made.shown[-1]
    assert data["size"] == [400, 300]
    assert (data["done"], data["undone"]) == ([], [])
    assert [r["mm2"] for r in data["regions"]] == pytest.approx([39.1, 37.5], abs=0.05)
    assert [f["id"] for f in data["finishes"]] == list(FINISHES)
    assert set(data["photo"]) == {"preview", "whole"}


def test_a_correction_is_kept_and_shown_at_once(measured_page: Any, made: Picture) -> None:
    before, calls = the_one(measured_page), Drawn.calls
    shown = measured_page.figures()["Plated area"]
    made.do(LEAVE_OUT)
    measured_page.run()
    after = the_one(measured_page)
    assert Drawn.calls == calls, "the photo was searched again"
    assert area(after) == pytest.approx(LEFT * area(before), rel=0.02)
    assert measured_page.figures()["Plated area"] != shown
    assert any("1 correction by hand" in text for text in measured_page.told("markdown"))
    assert after.overlay != before.overlay
    assert any("Visible plating only" in text for text in measured_page.told("markdown"))
    measured_page.press("Back to the result")
    assert any("1 correction by hand" in text for text in measured_page.told("markdown"))
    assert measured_page.figures()["Plated area"] != shown


def test_undone_to_nothing_is_the_measurement_as_found(measured_page: Any, made: Picture) -> None:
    before = the_one(measured_page)
    made.do(LEAVE_OUT, PAINT_IN)
    measured_page.run()
    made.do(undone=[PAINT_IN, LEAVE_OUT])
    measured_page.run()
    assert the_one(measured_page).measured == before.measured


@pytest.mark.parametrize("file", ["bench/page.py", "value/page.py", "log/page.py", "start/page.py"])
def test_what_was_done_counts_even_if_nothing_was_worked_out_of_it_yet(
    measured_page: Any, made: Picture, file: str
) -> None:
    """The page moved on, or the server stopped, right after the stroke: the next page drawn makes up for it."""
    before = the_one(measured_page)
    stroke = History(Corrections((LeftOut((120.0, 120.0)),), before.sha256), on=before.stamp)
    the_lot(measured_page).keep_history(before.sha256, stroke)
    measured_page.go(file)
    assert area(the_one(measured_page)) == pytest.approx(LEFT * area(before), rel=0.02)
    assert not the_lot(measured_page).photo_clashes()


def test_two_windows_that_were_both_left_before_anything_was_worked_out_lose_nothing(
    measured_page: Any, made: Picture
) -> None:
    before = the_one(measured_page)
    for by, item in (("one", LeftOut((120.0, 120.0))), ("other", PaintedIn(((150.0, 250.0),), 8.0))):
        stroke = History(Corrections((item,), before.sha256), on=before.stamp, by=by)
        the_lot(measured_page).keep_history(before.sha256, stroke)
    measured_page.go("bench/page.py")
    (clash,) = the_lot(measured_page).photo_clashes()
    made_on_them = [kept.measured.made_by_hand.items for kept in (clash.now, *clash.others)]
    assert [[type(item) for item in items] for items in made_on_them] == [[PaintedIn], [LeftOut]]
    measured_page.run()
    assert len(the_lot(measured_page).photo_clashes()) == 1


def test_other_pages_leave_corrections_as_they_are(measured_page: Any, made: Picture) -> None:
    made.do(LEAVE_OUT)
    measured_page.run()
    made.do(LEAVE_OUT, PAINT_IN)
    measured_page.run()
    after = the_one(measured_page)
    for file in ("bench/page.py", "value/page.py", "measure/page.py"):
        measured_page.go(file)
        measured_page.run()
        assert the_one(measured_page) == after
    assert made.shown[-1]["done"] == [LEAVE_OUT, PAINT_IN]


def test_what_was_undone_can_be_done_again_after_a_reload(measured_page: Any, made: Picture) -> None:
    made.do(LEAVE_OUT, undone=[PAINT_IN])
    measured_page.run()
    again = type(measured_page)()
    again.at.query_params["lot"] = measured_page.at.session_state["desk-lot"]
    again.run()
    again.press("Correct what was found")
    assert (made.shown[-1]["done"], made.shown[-1]["undone"]) == ([LEAVE_OUT], [PAINT_IN])


def test_opened_again_it_goes_on_from_what_was_corrected(measured_page: Any, made: Picture) -> None:
    made.do(LEAVE_OUT)
    measured_page.run()
    measured_page.press("Back to the result")
    measured_page.press("Correct what was found")
    assert made.shown[-1]["done"] == [LEAVE_OUT]
    assert len(the_one(measured_page).measured.made_by_hand.items) == 1
    assert made.shown[-1]["version"] != made.shown[0]["version"]


@pytest.mark.parametrize(
    "nonsense", [{"done": [{"kind": "wipe"}], "undone": []}, {"done": [5], "undone": []}, {"done": []}, "x", [1]]
)
def test_nonsense_from_the_browser_changes_nothing(measured_page: Any, made: Picture, nonsense: Any) -> None:
    before = the_one(measured_page)
    made.say(nonsense)
    measured_page.run()
    assert any("cannot be used" in text for text in measured_page.told("error"))
    measured_page.run()
    assert the_one(measured_page).measured == before.measured


def with_corrections(measured: Measured, corrections: dict[str, Any]) -> Measured:
    """The record as if these had been made on it, its figures left as they are."""
    return measured.model_copy(update={"corrections": MadeCorrections(**corrections)})


def corrected_elsewhere(page: Any, *corrections: Any) -> Kept:
    """What another window makes of the photo, having seen what is there."""
    done = the_one(page)
    record = {"schema": 1, "sha256": done.sha256, "corrections": list(corrections)}
    return the_lot(page).put(replace(done, measured=with_corrections(done.measured, record)))


def test_what_another_window_corrected_comes_into_a_picture_on_which_nothing_was_done(
    measured_page: Any, made: Picture
) -> None:
    theirs = corrected_elsewhere(measured_page, PAINT_IN)
    measured_page.run()
    assert made.shown[-1]["done"] == [PAINT_IN]
    assert the_one(measured_page) == theirs
    assert not the_lot(measured_page).photo_clashes()
    made.do(PAINT_IN, LEAVE_OUT)
    measured_page.run()
    assert len(the_one(measured_page).measured.made_by_hand.items) == 2
    assert not the_lot(measured_page).photo_clashes(), "what was seen is no clash"


def test_corrections_of_two_windows_that_did_not_see_each_other_are_both_kept(
    measured_page: Any, made: Picture
) -> None:
    theirs = corrected_elsewhere(measured_page, PAINT_IN)
    made.do(LEAVE_OUT)
    measured_page.run()
    assert len(the_one(measured_page).measured.made_by_hand.items) == 1
    (clash,) = the_lot(measured_page).photo_clashes()
    assert clash.others == (theirs,)
    made.do(LEAVE_OUT, LEAVE_OUT)
    measured_page.run()
    (clash,) = the_lot(measured_page).photo_clashes()
    assert clash.others == (theirs,), "one's own next step is no clash"
    assert any("Two windows measured or corrected" in told for told in measured_page.told("warning"))


def test_a_stroke_on_a_picture_that_was_ended_is_kept_beside_what_came_meanwhile(
    measured_page: Any, made: Picture
) -> None:
    theirs = corrected_elsewhere(measured_page, PAINT_IN)
    measured_page.run()
    made.do(LEAVE_OUT, views_ago=1)
    measured_page.run()
    (clash,) = the_lot(measured_page).photo_clashes()
    assert clash.others == (theirs,)


def test_the_log_keeps_the_corrections(measured_page: Any, made: Picture, log_file: Path) -> None:
    made.do(LEAVE_OUT, PAINT_IN)
    measured_page.run()
    measured_page.press("Back to the result")
    measured_page.type("Name of the lot", "Bench")
    measured_page.press("Keep this lot")
    with open_log(log_file) as log:
        (lot,) = log.lots()
        (estimate,) = log.entries(lot.id).estimates
    assert estimate.document["corrections"]["corrections"] == [LEAVE_OUT, PAINT_IN]
    assert estimate.document["corrections"]["gold_mg"]["change"]["level"] == 0.9


def test_training_data_need_consent(measured_page: Any, made: Picture) -> None:
    made.do(LEAVE_OUT)
    measured_page.run()

    def zip_button() -> Any:
        (button,) = (b for b in measured_page.at.get("download_button") if "Training" in b.proto.label)
        return button

    assert zip_button().proto.disabled
    (looked_over,) = (c for c in measured_page.at.checkbox if c.label.startswith("I looked over"))
    assert looked_over.disabled
    (agree,) = (c for c in measured_page.at.checkbox if c.label.startswith("I agree"))
    agree.check()
    measured_page.run()
    assert not zip_button().proto.disabled


def test_measured_again_in_another_way_keeps_the_corrections(tmp_path: Path, photo: bytes) -> None:
    lot = LotFolder(tmp_path / "lot")
    sha256 = lot.hand_in("pads.png", photo).sha256
    order = Order("pads.png", sha256, Request(SCALE))
    done = measure_into(lot, order, lambda _: None)
    items = Corrections((LeftOut((120.0, 120.0)), PaintedIn(((150.0, 250.0),), 8.0)), sha256)
    record = with_corrections(done.measured, items.as_json())
    lot.put(Kept(done.name, sha256, done.request, record, done.overlay, is_sample=False))
    twice = ByLength(40.0, SCALE.start_px, SCALE.end_px)
    again = measure_into(lot, Order("pads.png", sha256, Request(twice)), lambda _: None)
    assert again.measured.made_by_hand == items
    found = again.measured.corrections.plated_area_mm2.found.value
    assert found == pytest.approx(4 * area(done), rel=0.02)
    assert area(again) < found


def test_corrections_made_while_the_photo_is_measured_again_stay(tmp_path: Path, photo: bytes) -> None:
    lot = LotFolder(tmp_path / "lot")
    sha256 = lot.hand_in("pads.png", photo).sha256
    done = measure_into(lot, Order("pads.png", sha256, Request(SCALE)), lambda _: None)
    items = Corrections((LeftOut((120.0, 120.0)),), sha256)

    def meanwhile(_: object) -> None:
        now = lot.measured()[sha256]
        if now.measured.corrections is None:
            lot.put(replace(now, measured=with_corrections(now.measured, items.as_json())))

    twice = ByLength(40.0, SCALE.start_px, SCALE.end_px)
    again = measure_into(lot, Order("pads.png", sha256, Request(twice)), meanwhile)
    assert again.measured.made_by_hand == items
    assert area(again) < 4 * area(done)
    assert not lot.photo_clashes()
