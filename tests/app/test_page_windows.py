"""Several windows on one lot, and damaged lots: nothing is replaced silently, nothing ends in a traceback."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from app.lots.lot_folder import LotFolder
from app.lots.shelf import Kept
from grader.corrections import LeftOut
from grader.measured import MadeCorrections


def key_of(page: Any) -> str:
    key = page.at.query_params["lot"]
    return key if isinstance(key, str) else str(key[0])


def another_window(page: Any) -> Any:
    """The same lot in another window."""
    window = type(page).__new__(type(page))
    window.at = AppTest.from_file(str(page.at._script_path), default_timeout=120)
    window.at.query_params["lot"] = key_of(page)
    window.run()
    return window


def folder_of(page: Any, tmp_path: Path) -> LotFolder:
    return LotFolder(tmp_path / "data" / "in-progress" / key_of(page))


@pytest.fixture
def lot(page: Any) -> Any:
    """A window on a lot with a name, on the page Start."""
    page.go("start/page.py")
    page.type("Its name", "Shelf 3")
    page.run()
    return page


def name_in(window: Any) -> str:
    return str(window.at.text_input(key="lot-name").value)


def buttons(window: Any) -> list[str]:
    return [b.label for b in window.at.button]


def clashes(window: Any) -> list[str]:
    return [told for told in window.told("warning") if told.startswith("Two windows")]


def test_fields_that_differ_are_merged(lot: Any, plain_photo: bytes) -> None:
    lot.go("measure/page.py")
    lot.upload(("plain.png", plain_photo))
    other = another_window(lot)
    lot.at.text_input(key="board-thickness").set_value("2 mm")
    lot.run()
    other.type("Its name", "Drawer 9")
    other.run()
    other.go("measure/page.py")
    lot.go("start/page.py")
    assert name_in(lot) == "Drawer 9"
    assert other.at.text_input(key="board-thickness").value == "2 mm"
    assert not clashes(lot)
    assert not clashes(other)


def test_a_field_that_two_windows_changed_is_told_in_both_and_nothing_is_lost(lot: Any, tmp_path: Path) -> None:
    other = another_window(lot)
    lot.type("Its name", "Shelf 4")
    lot.run()
    other.type("Its name", "Drawer 9")
    other.run()
    lot.run()
    assert any("Name of the lot: Drawer 9 (was Shelf 4)" in told for told in lot.told("toast"))
    for window in (lot, other):
        (told,) = clashes(window)
        assert "name of the lot. It now says Drawer 9; in another window it was changed to Shelf 4." in told
        assert name_in(window) == "Drawer 9"
    lot.press("Use Shelf 4")
    other.run()
    for window in (lot, other):
        assert name_in(window) == "Shelf 4"
        assert not clashes(window)
    assert folder_of(lot, tmp_path).entries()["lot-name"] == "Shelf 4"


def enter_price(window: Any, price: str) -> None:
    """A gold price as a page leaves it that has read it."""
    window.at.session_state["spot"] = price
    window.at.session_state["desk-good"] = {"spot": price}
    window.run()


def test_a_price_of_gold_that_two_windows_changed_is_told_as_well(lot: Any) -> None:
    enter_price(lot, "2650 USD/ozt")
    other = another_window(lot)
    for window, price in ((lot, "2700 USD/ozt"), (other, "2800 USD/ozt")):
        enter_price(window, price)
    (told,) = clashes(other)
    assert "gold price. It now says 2800 USD/ozt; in another window it was changed to 2700 USD/ozt." in told
    other.press("Keep 2800 USD/ozt")
    lot.run()
    assert lot.at.session_state["spot"] == "2800 USD/ozt"
    assert not clashes(lot)


def test_each_window_does_its_own_job(lot: Any) -> None:
    other = another_window(lot)
    for window, job in ((lot, "bench"), (other, "weigh")):
        window.at.button(key=f"way-{job}").click()
        window.run()
    lot.run()
    assert lot.at.session_state["way"] == "bench"
    assert not clashes(lot)


def test_what_was_typed_before_leaving_a_lot_is_kept(lot: Any, tmp_path: Path) -> None:
    folder = folder_of(lot, tmp_path)
    lot.type("Its name", "Shelf 4")
    lot.press("Start another lot")
    assert folder.entries()["lot-name"] == "Shelf 4"


def test_a_photo_of_which_two_windows_made_different_things_is_asked_about(
    lot: Any, measured: Kept, tmp_path: Path
) -> None:
    folder = folder_of(lot, tmp_path)
    first = folder.put(measured)
    made = MadeCorrections(corrections=(LeftOut((1.0, 1.0)), LeftOut((2.0, 2.0))))
    corrected = measured.measured.model_copy(update={"corrections": made})
    mine = folder.put(replace(first, measured=corrected))
    folder.put(replace(first, measured=measured.measured.model_copy(update={"statement": "yours"})))
    lot.run()
    assert any("measured or corrected" in told and measured.name in told for told in lot.told("warning"))
    (use,) = (label for label in buttons(lot) if label.startswith("Use ") and label.endswith("2 corrections"))
    lot.press(use)
    assert folder.measured()[measured.sha256] == mine
    assert not any("measured or corrected" in told for told in lot.told("warning"))


DAMAGES = {
    "empty": "",
    "half": '{"schema": 1, "entr',
    "deep": "[" * 100_000,
    "long number": '{"schema": 1' + "0" * 400 + "}",
}


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_lot_says_which_file_and_how_to_go_on(lot: Any, tmp_path: Path, damage: str) -> None:
    place = tmp_path / "data" / "in-progress" / key_of(lot) / "lot.json"
    place.write_text(DAMAGES[damage])
    window = another_window(lot)
    (told,) = window.told("error")
    assert str(place) in told
    assert "the file is kept" in told
    window.go("measure/page.py")
    assert window.told("title") == ["This lot cannot be read"]
    assert place.read_text() == DAMAGES[damage]
    window.press("Keep the file aside, go on with the photos")
    assert not window.told("error")
    assert place.with_name("lot.damaged-1.json").read_text() == DAMAGES[damage]
    lot.run()
    assert not lot.told("error")


def test_other_lots_go_on_beside_a_damaged_one(lot: Any, tmp_path: Path) -> None:
    place = tmp_path / "data" / "in-progress" / key_of(lot) / "lot.json"
    place.write_text("{")
    lot.run()
    lot.press("Start another lot")
    lot.go("log/page.py")
    assert not lot.told("error")
    assert any(told.startswith("**A lot whose file is damaged**") for told in lot.told("markdown"))
    lot.press("Open")
    assert lot.told("title") == ["This lot cannot be read"]


def test_a_window_that_was_open_brings_back_what_it_knows(lot: Any, measured: Kept, tmp_path: Path) -> None:
    folder = folder_of(lot, tmp_path)
    folder.put(measured)
    lot.run()
    (tmp_path / "data" / "in-progress" / key_of(lot) / "lot.json").write_text("")
    lot.run()
    lot.press("Keep the file aside, go on with the photos")
    assert folder.measured() == {measured.sha256: measured}
    assert folder.entries()["lot-name"] == "Shelf 3"


@pytest.mark.parametrize("damage", ["", "{", "[" * 100_000, '{"spot": [1]}', '{"spot": 1' + "0" * 400 + "}"])
def test_damaged_preferences_are_put_aside(page: Any, tmp_path: Path, damage: str) -> None:
    place = tmp_path / "data" / "page.json"
    place.parent.mkdir(exist_ok=True)
    place.write_text(damage)
    window = another_window(page)
    assert not window.told("error")
    assert place.with_name("page.damaged-1.json").read_text() == damage


def test_preferences_of_before_windows_were_told_apart_are_read(page: Any, tmp_path: Path) -> None:
    place = tmp_path / "data" / "page.json"
    place.parent.mkdir(exist_ok=True)
    place.write_text('{"mass-unit": "dwt", "spot-date": {"date": "2026-11-25"}}')
    window = another_window(page)
    window.go("start/page.py")
    assert window.at.selectbox(key="mass-unit").value == "dwt"


def test_a_disk_that_is_full_is_told_and_what_was_typed_stays(
    lot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = Path.replace

    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    lot.type("Its name", "Shelf 4")
    lot.run()
    assert any("No space left" in told for told in lot.told("error"))
    assert name_in(lot) == "Shelf 4"
    monkeypatch.setattr(Path, "replace", whole)
    lot.run()
    assert not lot.told("error")
    assert folder_of(lot, tmp_path).entries()["lot-name"] == "Shelf 4"
