"""The three jobs from start to end, the lot that goes through them, and that nothing of it is lost on the way."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from app.lots.lot_folder import lots_in
from app.lots.shelf import Kept
from app.lots.way import WAYS
from grader.log import NewLot, open_log

GO = "What can I pay?"


def key_of(page: Any) -> str:
    key = page.at.query_params["lot"]
    return key if isinstance(key, str) else str(key[0])


def another_window(page: Any, key: str) -> Any:
    """The same page in another window, or after a reload: nothing is left but the address."""
    window = type(page).__new__(type(page))
    window.at = AppTest.from_file(str(page.at._script_path), default_timeout=120)
    window.at.query_params["lot"] = key
    window.run()
    return window


def start(page: Any, title: str) -> None:
    page.go("start/page.py")
    (name,) = (name for name, way in WAYS.items() if way.title == title)
    if name == "listing":  # begins with pictures, which cannot be picked here
        page.go("value/page.py")
        return
    page.at.button(key=f"way-{name}").click()
    page.run()


def link_labels(page: Any) -> list[str]:
    return [e.proto.label for e in page.at.get("page_link")]


def test_the_start_offers_three_jobs(page: Any) -> None:
    page.go("start/page.py")
    jobs = [b for b in page.at.button if b.key and b.key.startswith("way-")]
    assert len(jobs) == 2
    assert len(page.at.get("file_uploader")) == 1, "the third one begins with pictures"
    assert not page.at.error


def test_one_tap_measures_a_sample(page: Any) -> None:
    page.go("start/page.py")
    page.at.button(key="try-sample").click()
    page.run()
    page.wait()
    assert page.told("title") == ["What is it worth?"]
    assert "1 photo" in page.html()
    assert page.at.session_state["shelf"]


@pytest.mark.parametrize(
    ("job", "title"),
    [
        ("Price a listing", "What is it worth?"),
        ("Work through a pile", "How much gold is on the boards?"),
        ("Weigh and log", "Keep this lot"),
    ],
)
def test_each_job_begins_on_its_first_page(page: Any, job: str, title: str) -> None:
    start(page, job)
    assert page.told("title") == [title]
    assert f"<span>{job}</span>" in page.html()
    assert page.html().count("<li aria-current") == 1


def test_the_next_step_is_offered_until_the_end(page: Any, measured: Kept, log_file: Path) -> None:
    start(page, "Price a listing")
    assert not any(label.startswith("Next") for label in link_labels(page)), "nothing is measured yet"
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("measure/page.py")
    assert "Next: Photos and price" in link_labels(page)
    page.go("value/page.py")
    page.type("Gold price today", "2650 USD/ozt")
    page.press(GO)
    assert "Next: Keep this lot" in link_labels(page)
    with open_log(log_file) as log:
        log.add_lot(NewLot(name="Shelf 3"))
    page.go("log/page.py")
    assert "Back to the start" in link_labels(page)


def test_a_lot_goes_through_by_its_name(page: Any, measured: Kept, log_file: Path) -> None:
    page.go("start/page.py")
    page.type("Its name", "Shelf 3")
    start(page, "Price a listing")
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    page.type("Gold price today", "2650 USD/ozt")
    page.type("Asking price, if there is one", "120 USD")
    page.press(GO)
    page.press("Keep this lot")
    page.go("log/page.py")
    assert "Shelf 3 · 1 photo · asking 120.00 USD · worth at most 0.00 USD" in page.html()
    assert page.at.text_input(key="lot-name").value == "Shelf 3"
    assert any(e.label == "Shelf 3 is kept" for e in page.at.expander)
    with open_log(log_file) as log:
        assert [lot.name for lot in log.lots()] == ["Shelf 3"]
        assert len(log.entries("Shelf 3").estimates) == len(log.entries("Shelf 3").offers) == 1


def test_a_reload_loses_nothing(page: Any, measured: Kept, plain_photo: bytes) -> None:
    page.go("start/page.py")
    page.type("Its name", "Shelf 3")
    page.run()
    page.go("measure/page.py")
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.upload(("plain.png", plain_photo))
    page.go("value/page.py")
    page.type("Gold price today", "2650 USD/ozt")
    page.type("Asking price, if there is one", "120 USD")
    page.press(GO)
    again = another_window(page, key_of(page))
    assert again.at.text_input(key="lot-name").value == "Shelf 3"
    again.go("value/page.py")
    assert again.at.text_input(key="spot").value == "2650 USD/ozt"
    assert again.at.text_input(key="asking").value == "120 USD"
    assert again.figures() == page.figures()
    again.go("measure/page.py")
    assert [kept.name for kept in again.at.session_state["shelf"].values()] == [measured.name, "plain.png"]


def test_two_windows_on_one_lot_see_each_other(page: Any, measured: Kept, plain_photo: bytes) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.run()
    other = another_window(page, key_of(page))
    other.go("measure/page.py")
    other.upload(("plain.png", plain_photo))
    page.run()
    assert {kept.name for kept in page.at.session_state["shelf"].values()} == {measured.name, "plain.png"}
    page.press("Take this photo off the list")
    other.run()
    assert len(other.at.session_state["shelf"]) == 1, "what was taken away comes back"
    page.go("start/page.py")
    page.type("Its name", "Shelf 3")
    page.run()
    other.go("start/page.py")
    assert other.at.text_input(key="lot-name").value == "Shelf 3"


def test_another_lot_begins_empty_and_the_first_is_found_again(page: Any, measured: Kept) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("value/page.py")
    page.type("Gold price today", "2650 USD/ozt")
    page.type("Asking price, if there is one", "120 USD")
    page.press(GO)
    first = key_of(page)
    page.go("start/page.py")
    page.type("Its name", "First")
    page.run()
    page.press("Start another lot")
    assert key_of(page) != first
    assert page.at.text_input(key="lot-name").value == ""
    assert not page.at.session_state["shelf"]
    page.go("measure/page.py")
    page.press("Measure this sample")
    page.go("value/page.py")
    assert page.at.text_input(key="asking").value == ""
    assert page.at.text_input(key="spot").value == "2650 USD/ozt", "the gold price is the same for every lot"
    page.go("start/page.py")
    page.go("log/page.py")
    page.press("Open")
    assert key_of(page) == first
    assert page.at.text_input(key="lot-name").value == "First"
    assert list(page.at.session_state["shelf"]) == [measured.sha256]


def test_a_photo_taken_off_the_list_is_brought_back(page: Any, measured: Kept) -> None:
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.run()
    page.press("Take this photo off the list")
    assert f"{measured.name} was taken off the list." in page.told("markdown")
    assert not page.at.session_state["shelf"]
    page.press("Undo")
    assert page.at.session_state["shelf"] == {measured.sha256: measured}
    assert not any(b.label == "Undo" for b in page.at.button)


def test_looking_about_leaves_no_lot_behind(page: Any, tmp_path: Path) -> None:
    for file in ("start/page.py", "measure/page.py", "value/page.py", "log/page.py", "learn/page.py"):
        page.go(file)
    assert lots_in(tmp_path / "data" / "in-progress") == []


def test_an_address_that_is_no_lot_begins_a_new_one(page: Any, tmp_path: Path) -> None:
    window = another_window(page, "../../../etc")
    assert key_of(window) != "../../../etc"
    assert not window.at.error


def test_a_unit_is_chosen_once_and_kept(page: Any, measured: Kept) -> None:
    page.go("start/page.py")
    page.at.selectbox(key="mass-unit").set_value("dwt")
    page.run()
    page.at.session_state["shelf"] = {measured.sha256: measured}
    page.go("measure/page.py")
    shown = page.figures()["Gold in the visible plating"]
    mg = measured.measured.gold_mg.value
    # 24 grains of 64.79891 mg to the pennyweight (NIST Handbook 44, appendix C)
    assert shown.endswith(" dwt")
    assert float(shown.split()[0]) == pytest.approx(mg / (24 * 64.79891), rel=0.1)
    fresh = another_window(page, "")
    fresh.go("start/page.py")
    assert fresh.at.selectbox(key="mass-unit").value == "dwt"
