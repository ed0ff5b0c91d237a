"""The page asks about what may not be gold; one tap answers, and the measurement follows."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
import pytest

from app.lots.desk import desk
from app.lots.lot_folder import Kept, LotFolder
from app.lots.measuring import Order, measure_into
from grader.correct import Confirmed, Corrections, LeftOut
from grader.correct.export import training_zip
from grader.correct.measured import correct
from grader.photo import load_photo
from grader.pipeline import Measurement, measure
from grader.regions.unsure import unsure_places
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import box, drawn_pads, union_share
from tests.segmenters import default_segmenter

SHAPE = (300, 400)
PAD, PALE, PALER = box((120, 120), 60, 40), box((280, 200), 50, 50), box((300, 80), 40, 40)
SCALE = ByLength(20.0, (10.0, 10.0), (170.0, 10.0))
SURE, FIRST, SECOND = 60 * 40, 0.6 * 50 * 50, 0.6 * 40 * 40


# sure of one pad, not of two others
DRAWN, PNG = drawn_pads(np.clip(union_share([PAD], SHAPE) + 0.6 * union_share([PALE, PALER], SHAPE), 0, 1))


@pytest.fixture(autouse=True)
def drawn() -> Iterator[None]:
    with default_segmenter(lambda: DRAWN):
        yield


@pytest.fixture
def photo() -> bytes:
    return PNG


@pytest.fixture
def asked(page: Any, photo: bytes) -> Any:
    """The page with the photo measured."""
    lot = desk().lot(page.at.session_state["desk-lot"])
    measure_into(lot, Order("pads.png", lot.hand_in("pads.png", photo).sha256, Request(SCALE)), lambda _: None)
    page.run()
    return page


def the_lot(page: Any) -> LotFolder:
    return desk().lot(page.at.session_state["desk-lot"])


def the_one(page: Any) -> Kept:
    (done,) = the_lot(page).measured().values()
    return done


def area(page: Any) -> float:
    return float(the_one(page).measured.plated_area_mm2.value)


def is_asked(page: Any) -> bool:
    return any("Is this gold?" in text for text in page.told("markdown"))


def test_one_tap_each_answers_all_questions(asked: Any) -> None:
    before = area(asked)
    assert is_asked(asked)
    asked.press("Yes")
    assert isinstance(the_one(asked).measured.made_by_hand.items[0], Confirmed)
    assert area(asked) == pytest.approx(before, rel=1e-6)
    assert is_asked(asked)
    asked.press("No")
    assert isinstance(the_one(asked).measured.made_by_hand.items[1], LeftOut)
    assert area(asked) == pytest.approx(before * (SURE + FIRST) / (SURE + FIRST + SECOND), rel=0.02)
    assert not is_asked(asked)
    assert the_one(asked).measured.unsure == ()


def test_who_cannot_tell_changes_nothing_and_is_asked_the_next(asked: Any) -> None:
    before = the_one(asked)
    asked.press("I cannot tell")
    assert is_asked(asked)
    asked.press("I cannot tell")
    assert not is_asked(asked)
    assert the_one(asked) == before


def test_answers_join_corrections_that_were_made_before(asked: Any) -> None:
    asked.press("No")
    asked.press("Correct what was found")
    asked.press("Back to the result")
    asked.press("Yes")
    assert [type(item) for item in the_one(asked).measured.made_by_hand.items] == [LeftOut, Confirmed]


def test_answers_are_training_data(photo: bytes) -> None:
    found = measure(load_photo(photo, "pads.png"), Request(SCALE))
    [first, second] = unsure = measured_unsure(found)
    assert len(unsure) == 2
    done = correct(found, Corrections((Confirmed(first), LeftOut(second)), found.photo.sha256))
    with zipfile.ZipFile(io.BytesIO(training_zip(done))) as archive:
        name = done.photo.short_id
        gold, known = (
            cv2.imdecode(np.frombuffer(archive.read(f"masks/{name}_{what}.png"), np.uint8), cv2.IMREAD_GRAYSCALE)
            for what in ("gold", "known")
        )
        kinds = [
            c["kind"] for c in json.loads(archive.read(f"corrections/{name}.json"))["corrections"]["corrections"]
        ]
    assert kinds == ["confirm", "leave_out"]
    for (x, y), plated in ((first, True), (second, False)):
        assert known[int(y), int(x)] > 0
        assert bool(gold[int(y), int(x)]) == plated
    assert known[120, 120] == 0  # of the sure pad nobody said anything


def measured_unsure(found: Measurement) -> list[tuple[float, float]]:
    return [place.at_px[0] for place in unsure_places(found.coverage, found.regions)]
