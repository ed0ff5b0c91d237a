"""Measure: good photos, bad ones and none; what is asked for is what is measured."""

from __future__ import annotations

import math
from html import escape
from typing import Any

import numpy as np
import pytest

import app.lots.measuring
import grader.api
from app.lots.shelf import Kept
from calibration.errors import PhotoError
from calibration.families import contact_families
from calibration.finishes import FINISH_WORDS
from calibration.print_check import PrintCheck, save_print_check
from grader.coverage.choose import forget_segmenter, register_segmenter, segmenter_names
from grader.measured import VISIBLE_ONLY
from grader.model import Range
from grader.photo import load_photo
from grader.pipeline import measure
from grader.places import print_check_path
from grader.report.words import told_finishes
from grader.request import Request
from grader.samples import Sample
from grader.scale_choice import ByLength, ByPitch, ByRectangle, WithoutScale
from grader.units import format_range, format_share
from tests.drawn_boards import KnownCoverage

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n"


def reading(document: Any, key: str, unit: str) -> str:
    """The value that the page must show for a range of the document."""
    return format_range(Range(**document[key]), unit).partition(" (")[0]


@pytest.fixture
def measured_calls(monkeypatch: pytest.MonkeyPatch) -> list[Request]:
    """The requests that were really measured."""
    calls: list[Request] = []

    def counted(photo: bytes, *, request: Request, **how: Any) -> Any:
        calls.append(request)
        return grader.api.measure(photo, request=request, **how)

    monkeypatch.setattr(app.lots.measuring, "measure", counted)
    return calls


def test_without_a_photo_nothing_is_shown_or_told(page: Any) -> None:
    assert "How much gold is on the boards?" in page.told("title")
    assert not page.at.metric
    assert not page.at.error


def test_a_good_photo_gives_the_same_figures_as_the_measurement(
    page: Any, sample: Sample, measured: Kept, measured_calls: list[Request]
) -> None:
    page.upload(("boards.jpg", sample.path.read_bytes()))
    document = measured.measured.to_dict()
    assert document["plated_area_mm2"]["value"] > 0
    assert page.figures() == {
        "Plated area": reading(document, "plated_area_mm2", "mm²"),
        "Gold in the visible plating": reading(document, "gold_mg", "mg"),
    }
    shown = page.told("markdown")
    for key, unit in (("plated_area_mm2", "mm²"), ("gold_mg", "mg")):
        whole = format_range(Range(**document[key]), unit)
        assert any(text and f"({text})" in whole for text in shown), "the range is not on the page"
    assert any(VISIBLE_ONLY in text for text in shown)
    found = told_finishes(measured.measured)
    assert found
    for finish, _ in found:
        assert FINISH_WORDS[finish] in page.html()
    bad = [check for check in document["photo_checks"] if check["is_good"] is False]
    for check in bad:
        assert escape(check["sentence"]) in page.html()
        assert escape(check["advice"]) in page.html()
    with_picture = {code for check in bad for code in check["codes"]}
    rest = [w for w in document["warnings"] if w["code"] not in with_picture]
    for warning, text in zip(rest, page.told("warning"), strict=True):
        assert text.startswith(f"{warning['message']}\n\n")
    assert not page.at.error

    page.run()
    page.press("Measure again")
    assert len(measured_calls) == 1, "the same photo was measured again"


@pytest.mark.parametrize(
    ("name", "data"), [("empty.jpg", b""), ("letter.jpg", PDF), ("cut.jpg", b"\xff\xd8\xff\xe0")]
)
def test_a_bad_file_is_answered_with_its_reason_and_advice(page: Any, name: str, data: bytes) -> None:
    with pytest.raises(PhotoError) as reason:
        load_photo(data, name)
    page.upload((name, data))
    (told,) = page.told("error")
    assert name in told
    assert reason.value.message in told
    assert reason.value.advice in told
    assert not page.at.metric


def test_a_bad_file_does_not_stop_the_others(page: Any, plain_photo: bytes) -> None:
    page.upload(("empty.jpg", b""), ("plain.png", plain_photo))
    assert [kept.name for kept in page.at.session_state["shelf"].values()] == ["plain.png"]
    assert any("empty.jpg" in text for text in page.told("error"))


def test_no_target_is_refused_with_advice_and_the_share_of_the_frame(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    assert any("Nothing of known size was recognised in plain.png" in text for text in page.told("markdown"))
    assert any(b.label == "Mark something of known size" for b in page.at.button)
    share = float(measure(load_photo(plain_photo)).coverage.share.mean() / 255)
    assert page.figures() == {"Plated share of the frame": format_share(share)}


def test_a_wrong_thickness_is_told_beside_its_field(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    page.at.text_input(key="board-thickness").set_value("30 mic")
    page.run()
    (told,) = page.told("error")
    assert "mic" in told
    assert "microinch" in told
    assert next(b for b in page.at.button if b.label == "Measure again").disabled


def request_of(page: Any, way: str, fields: dict[str, str], points: dict[str, float]) -> Request:
    page.at.selectbox(key="scale-way").set_value(
        next(o for o in page.at.selectbox(key="scale-way").options if way in o)
    )
    page.run()
    for key, text in fields.items():
        page.at.text_input(key=key).set_value(text)
    for label, value in points.items():
        next(f for f in page.at.number_input if f.label == label).set_value(value)
    page.run()
    page.press("Measure again")
    (kept,) = page.at.session_state["shelf"].values()
    assert isinstance(kept.request, Request)
    return kept.request


def test_a_segmenter_is_asked_for_where_there_are_several(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    asks = [box for box in page.at.selectbox if box.label == "What finds the plating?"]
    assert len(asks) == (len(segmenter_names()) > 1)
    nothing = np.zeros((300, 400))
    register_segmenter("own", lambda: KnownCoverage(nothing, nothing > 0, name="own"))
    try:
        page.run()
        page.at.selectbox(key="segmenter").set_value("own")
        asked = request_of(page, "Nothing", {}, {})
    finally:
        forget_segmenter("own")
    assert asked.segmenter == "own"


def test_a_known_length_is_measured_as_asked(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    points = {"One end, x px": 20.5, "One end, y px": 100.0, "Other end, x px": 380.0, "Other end, y px": 110.0}
    asked = request_of(page, "length", {"known-length": "3.5 in", "board-thickness": "1.6 mm"}, points)
    assert asked.scale == ByLength(pytest.approx(88.9), (20.5, 100.0), (380.0, 110.0))
    assert asked.board_thickness_mm == pytest.approx(1.6)
    assert "Plated area" in page.figures()


def test_a_known_rectangle_is_measured_as_asked(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    corners = ((50.0, 60.0), (350.0, 60.0), (350.0, 250.0), (50.0, 250.0))
    points = {
        f"Corner {n}, {axis} px": value
        for n, corner in enumerate(corners, 1)
        for axis, value in zip("xy", corner, strict=True)
    }
    asked = request_of(page, "rectangle", {"known-rectangle": "85.6 x 53.98 mm"}, points)
    assert asked.scale == ByRectangle((85.6, 53.98), corners)


def test_no_scale_is_measured_as_asked(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    assert request_of(page, "Nothing", {}, {}).scale == WithoutScale()
    assert not page.at.error


def test_another_target_needs_a_description_that_can_be_read(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    page.at.selectbox(key="scale-way").set_value("Another target that you describe")
    page.run()
    page.at.file_uploader(key="target-file").set_value(("target.json", b"{", "application/json"))
    page.run()
    assert len(page.at.error) == 1
    assert next(b for b in page.at.button if b.label == "Measure again").disabled


def test_the_stored_check_bar_is_used(page: Any, plain_photo: bytes) -> None:
    check = PrintCheck(99.0)
    page.type("The check bar as printed", "99 mm")
    page.press("Store")
    page.upload(("plain.png", plain_photo))
    (kept,) = page.at.session_state["shelf"].values()
    assert kept.request.print_factor == check.print_factor()
    assert print_check_path().is_file()


def test_a_check_bar_that_cannot_be_is_not_stored(page: Any) -> None:
    save_print_check(PrintCheck(99.5), print_check_path())
    page.type("The check bar as printed", "50 mm")
    page.press("Store")
    (told,) = page.told("error")
    assert "50 mm" in told
    assert "grader target" not in told


def test_samples_and_own_photos_never_lie_together(page: Any, plain_photo: bytes, sample: Sample) -> None:
    page.upload(("plain.png", plain_photo))
    page.press("Measure this sample")
    assert [kept.name for kept in page.at.session_state["shelf"].values()] == [sample.path.name]


def mark(page: Any, points: dict[str, tuple[float, float]]) -> None:
    for label, place in points.items():
        for axis, value in zip("xy", place, strict=True):
            next(f for f in page.at.number_input if f.label == f"{label}, {axis} px").set_value(value)


def measured_as(page: Any) -> Any:
    page.run()
    page.press("Measure again")
    (kept,) = page.at.session_state["shelf"].values()
    return kept.request.scale


def choose_way(page: Any, word: str) -> None:
    box = page.at.selectbox(key="scale-way")
    box.set_value(next(o for o in box.options if word in o))
    page.run()


def test_a_card_is_picked_by_name_and_laid_as_its_corners_say(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    choose_way(page, "rectangle")
    page.at.selectbox(key="known-rectangle-of").set_value("ID-1 card")
    page.run()
    corners = ((50.0, 50.0), (110.0, 50.0), (110.0, 145.0), (50.0, 145.0))
    mark(page, {f"Corner {n}": corner for n, corner in enumerate(corners, 1)})
    scale = measured_as(page)
    # ISO/IEC 7810: 85.60 by 53.98 mm; the first side marked is the shorter one
    assert (scale.sides_mm, scale.corners_px) == ((53.98, 85.60), corners)
    assert scale.side_sd_mm == pytest.approx(0.12 / 3**0.5)


def test_a_module_is_picked_by_name(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    choose_way(page, "length")
    page.at.selectbox(key="known-length-of").set_value("DIMM")
    page.run()
    mark(page, {"One end": (20.0, 100.0), "Other end": (380.0, 110.0)})
    assert measured_as(page).length_mm == 133.35


def test_a_coin_needs_five_points_on_its_rim(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    choose_way(page, "coin")
    assert not any("UK pound" in option for option in page.at.selectbox(key="known-coin").options), "it is no circle"
    page.at.selectbox(key="known-coin").set_value("2 euro")
    page.run()
    rim = [(200 + 60 * math.cos(a), 150 + 60 * math.sin(a)) for a in np.arange(6) * math.pi / 3]
    mark(page, {f"Rim {n}": point for n, point in enumerate(rim[:4], 1)})
    page.run()
    assert next(b for b in page.at.button if b.label == "Measure again").disabled
    mark(page, {f"Rim {n}": point for n, point in enumerate(rim, 1)})
    scale = measured_as(page)
    assert scale.diameter_mm == 25.75  # Council Regulation (EC) 975/98
    assert len(scale.rim_px) == 6


def test_the_pitch_is_picked_by_the_contacts_name(page: Any, plain_photo: bytes) -> None:
    page.upload(("plain.png", plain_photo))
    choose_way(page, "pitch")
    assert next(b for b in page.at.button if b.label == "Measure again").disabled
    family = contact_families()[0]
    page.at.selectbox(key="known-contacts").set_value(family.key)
    assert measured_as(page) == ByPitch(family.pitch_mm)
