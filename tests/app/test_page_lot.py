"""A lot of three parts, seven photos, a stated mass: from photos to a saved offer, the same on page and terminal."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from app.lots.shelf import Kept
from grader.cli.app import app
from grader.log import open_log
from grader.measured import Measured
from grader.photo import load_photo
from grader.pipeline import measure
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share

SHAPE = (240, 360)
REQUEST = Request(scale=ByLength(30.0, (30.0, 30.0), (330.0, 30.0)))
NAMES = ("modules-1", "modules-1-back", "modules-2", "cards-1", "cards-2", "strips-1", "strips-2")
PARTS = """
[[part]]
name = "modules"
mass = "45..50 kg"
[[part.photo]]
front = "modules-1.png"
back = "modules-1-back.png"
boards = 2
weighed = "40 g"
[[part.photo]]
front = "modules-2.png"
boards = 1
weighed = "21 g"

[[part]]
name = "cards"
count = 1200
[[part.photo]]
front = "cards-1.png"
[[part.photo]]
front = "cards-2.png"

[[part]]
name = "strips"
count = "3800..4000"
other_face = "alike"
[[part.photo]]
front = "strips-1.png"
boards = 3
[[part.photo]]
front = "strips-2.png"
"""
PICTURE = bytes(cv2.imencode(".png", np.zeros((4, 6, 3), np.uint8))[1])  # in the place of an overlay
GO = "What can I pay?"


def drawn(name: str, number: int) -> Kept:
    """A photo whose plating is known, measured."""
    row = union_share([c * 10 for c in contact_row((5.0, 17.0), 10 + number, 1.0, (0.7, 4.0))], SHAPE)
    board = polygon_share(box((180.0, 120.0), 320.0, 160.0), SHAPE) > 0.5
    data = cv2.imencode(".png", np.full((*SHAPE, 3), 100 + number, np.uint8))[1].tobytes()
    photo = load_photo(data, f"{name}.png")
    request = Request(scale=REQUEST.scale, segmenter=KnownCoverage(row, board))
    found = Measured.of(measure(photo, request))
    return Kept(photo.name, photo.sha256, REQUEST, found, PICTURE, is_sample=False)


@pytest.fixture(scope="module")
def shots() -> list[Kept]:
    return [drawn(name, number) for number, name in enumerate(NAMES)]


def command(*arguments: object) -> None:
    result = CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)
    assert result.exit_code == 0, result.output


def in_terminal(shots: list[Kept], folder: Path, log: Path) -> dict[str, Any]:
    files = []
    for shot in shots:
        files.append(folder / f"{shot.name}.json")
        files[-1].write_text(json.dumps(shot.measured.to_dict()), "utf-8")
    (folder / "lot.toml").write_text(PARTS, "utf-8")
    command("log", "new", "Terminal", "--log", log)
    command("log", "add", "Terminal", *files, "--log", log)
    price = ("--spot", "2650 USD/ozt", "--spot-date", "today", "--asking", "900 USD", "--hours", "5..8 h")
    command("value", "--lot", "Terminal", "--log", log, "--save", "--parts", folder / "lot.toml", *price)
    with open_log(log) as opened:
        (offer,) = opened.entries("Terminal").offers
    return dict(offer.document)


def on_page(shots: list[Kept], page: Any, log: Path) -> dict[str, Any]:
    page.at.session_state["shelf"] = {shot.sha256: shot for shot in shots}
    page.go("value/page.py")
    by_name = {shot.name.removesuffix(".png"): shot.sha256 for shot in shots}

    def key(kind: str, name: str) -> str:
        return f"{kind}-{by_name[name][:12]}"

    for name in NAMES:
        page.at.text_input(key=key("part", name)).set_value(name.partition("-")[0])
    page.at.selectbox(key=key("shows", "modules-1-back")).set_value(by_name["modules-1"])
    page.run()
    for name, boards in (("modules-1", 2), ("strips-1", 3)):
        page.at.number_input(key=key("boards", name)).set_value(boards)
    page.at.checkbox(key=key("counted", "modules-2")).set_value(True)
    for name, mass in (("modules-1", "40 g"), ("modules-2", "21 g")):
        page.at.text_input(key=key("weighed", name)).set_value(mass)
    page.at.text_input(key="amount-modules").set_value("45..50 kg")
    page.at.text_input(key="amount-cards").set_value("1200")
    page.at.text_input(key="amount-strips").set_value("3800..4000")
    page.at.selectbox(key="face-strips").set_value("alike")
    page.type("Gold price today", "2650 USD/ozt")
    page.type("Asking price, if there is one", "900 USD")
    page.type("Your own hours for stripping", "5..8 h")
    page.press(GO)
    assert not page.told("error")
    page.type("Name of the lot", "Page")
    page.press("Keep this lot")
    with open_log(log) as opened:
        contents = opened.entries("Page")
    assert len(contents.estimates) == 7
    return dict(contents.offers[0].document)


def test_page_and_terminal_save_the_same_offer(shots: list[Kept], page: Any, tmp_path: Path, log_file: Path) -> None:
    shown, typed = on_page(shots, page, log_file), in_terminal(shots, tmp_path, log_file)
    assert typed["lot"] == shown["lot"]
    assert typed == shown
    modules, cards, strips = typed["lot"]
    assert (modules["boards_seen"], cards["boards"], strips["other_face"]) == (3, 1200, "alike")
    assert modules["boards"] == pytest.approx(47_500 / (61 / 3), rel=0.02)
    assert [r["route"] for r in typed["routes"]] == [
        "strip",
        "strip+bodies",
        "trim",
        "trim+bodies",
        "whole",
        "sort",
        "leave",
    ]
    assert typed["highest_price"]["price"] > 0
    assert typed["questions"]


@pytest.mark.parametrize(
    ("label", "text", "word"),
    [
        ("How much is for sale", "2", "3 boards"),
        ("How much is for sale", "a few", "a few"),
        ("How much is for sale", "5.5", "unit"),
        ("How much is for sale", "-5 kg", "negative"),
        ("Their weight (optional)", "72", "unit"),
    ],
)
def test_a_wrong_lot_is_told_and_gives_no_price(
    shots: list[Kept], page: Any, label: str, text: str, word: str
) -> None:
    page.at.session_state["shelf"] = {shots[0].sha256: shots[0]}
    page.go("value/page.py")
    (boards,) = (f for f in page.at.number_input if f.label == "Boards in this photo")
    boards.set_value(3)
    page.type(label, text)
    page.type("Gold price today", "2650")
    page.press(GO)
    assert any(word in told for told in page.told("error")), page.told("error")
    assert not page.at.metric


def test_front_and_back_are_paired_by_their_names_when_asked(shots: list[Kept], page: Any) -> None:
    front, back = shots[0], shots[1]
    page.at.session_state["shelf"] = {shot.sha256: shot for shot in (back, front)}
    page.go("value/page.py")
    assert page.at.selectbox(key=f"shows-{back.sha256[:12]}").value == "a front", "taken without being asked"
    page.press("Take them as pairs")
    assert page.at.selectbox(key=f"shows-{back.sha256[:12]}").value == front.sha256
    assert not any(b.label == "Take them as pairs" for b in page.at.button)
    assert not page.told("error")
