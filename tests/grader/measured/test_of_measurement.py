"""The document of a measurement: the contract's keys, sound JSON, and the way back to a valuation."""

import json
from dataclasses import replace
from functools import cache
from typing import Any

import cv2
import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.thickness import GoldProperties, gold_properties
from grader.lot import estimate_lot, one_part
from grader.measured import Measured, measurements_of
from grader.model import FINISHES, ProductModel
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import Automatic, ByLength, ByRectangle, ScaleChoice, WithoutScale
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share
from tests.measured_photos import document_of

SHAPE = (400, 600)
PX_PER_MM = 8.0
CARD = box((37.0, 25.0), 60.0, 40.0) * PX_PER_MM
ROW = contact_row((20.0, 42.3), 20, 1.5, (1.0, 4.3))
PAD = box((37.0, 15.0), 6.0, 5.0)
ERROR = Input("segmentation", "segmentation", Distribution("lognormal", (1.0, 0.1)), "test", of=("test",))
LENGTH = ByLength(60.0, tuple(CARD[0]), tuple(CARD[1]))
RANGE_KEYS = {"value", "low", "high", "level"}


def done(choice: ScaleChoice = LENGTH, *, plated: bool = True, boards: bool = True, **request: Any) -> Measurement:
    shapes = [c * PX_PER_MM for c in (*ROW, PAD)] if plated else []
    board = polygon_share(CARD, SHAPE) > 0.5 if boards else np.zeros(SHAPE, bool)
    known = KnownCoverage(union_share(shapes, SHAPE), board, (ERROR,) if plated else ())
    photo = Photo("card.jpg", "cd" * 32, np.full((*SHAPE, 3), 90, np.uint8), "JPEG", 500.0)
    return measure(photo, Request(scale=choice, segmenter=known, **request))


@cache
def usual() -> Measurement:
    """The card with a known length."""
    return done()


def check_range(found: Any) -> None:
    assert set(found) == RANGE_KEYS
    assert 0 <= found["low"] <= found["value"] <= found["high"]
    assert found["level"] == 0.9


def check_finishes(found: Any) -> None:
    assert set(found) == set(FINISHES)
    for entry in found.values():
        assert set(entry) == {"area_mm2", "gold_mg"}
        check_range(entry["area_mm2"])
        check_range(entry["gold_mg"])


def test_every_key_of_the_contract() -> None:
    document = document_of(usual())
    assert document["schema"] == 1
    assert document["photo"] == "card.jpg"
    assert document["sha256"] == "cd" * 32
    assert (document["width_px"], document["height_px"]) == (600, 400)
    assert document["scale"]["method"] == "length"
    assert document["scale"]["px_per_mm"] == pytest.approx(PX_PER_MM, rel=1e-6)
    assert 0 < document["scale"]["relative_uncertainty"] < 0.2
    check_range(document["plated_area_mm2"])
    check_range(document["gold_mg"])
    check_finishes(document["by_finish"])
    [board] = document["boards"]
    assert all(len(point) == 2 for point in board["outline_px"])
    check_range(board["area_mm2"])
    check_finishes(board["by_finish"])
    [contacts] = board["contacts"]
    assert contacts["count"] == 20
    assert contacts["pitch_mm"] == pytest.approx(1.5, rel=2e-3)
    assert contacts["face"] == "seen"
    assert document["warnings"]
    assert all(set(w) == {"code", "message", "advice"} and all(w.values()) for w in document["warnings"])
    assert "refused" not in document
    assert "inside packages" in document["statement"]


def test_numbers_are_those_of_the_drawn_card() -> None:
    # a single length leaves the camera's tilt open, which moves the middle of the range by 1 to 2 %
    document = document_of(usual())
    assert document["plated_area_mm2"]["value"] == pytest.approx(20 * 4.3 + 30, rel=0.03)
    by_finish = document["by_finish"]
    assert by_finish["hard_gold"]["area_mm2"]["value"] == pytest.approx(86, rel=0.03)
    # what doubt there is about the finish moves the middle of a range, but not the mean
    pads = ProductModel.from_json(document["model"]["area_mm2"]["immersion_gold"])
    assert np.mean(pads.draws()) == pytest.approx(30, rel=0.03)
    assert by_finish["immersion_gold"]["area_mm2"]["low"] < 30 < by_finish["immersion_gold"]["area_mm2"]["high"]
    assert by_finish["undetermined"]["area_mm2"]["value"] == 0
    assert document["boards"][0]["area_mm2"]["value"] == pytest.approx(2400, rel=0.04)
    assert document["plated_share_of_frame"] == pytest.approx(116 * 64 / 240_000, rel=0.01)
    assert document["plated_area_mm2"]["low"] < 116 < document["plated_area_mm2"]["high"]


def test_the_budget_adds_up_to_one_and_names_inputs_once() -> None:
    budget = document_of(usual())["budget"]
    assert sum(line["share_of_variance"] for line in budget) == pytest.approx(1, abs=1e-9)
    assert all(0 <= line["share_of_variance"] <= 1 for line in budget)
    names = [line["input"] for line in budget]
    assert len(set(names)) == len(names)
    assert {"segmentation:test", "thickness:hard_gold"} <= set(names)


@pytest.mark.parametrize("plated", [True, False])
@pytest.mark.parametrize("boards", [True, False])
@pytest.mark.parametrize("choice", [LENGTH, WithoutScale(), Automatic()])
def test_sound_json_in_every_case(choice: ScaleChoice, boards: bool, plated: bool) -> None:
    document = document_of(done(choice, plated=plated, boards=boards))
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_a_rectangle_counts_as_a_length_and_says_that_it_was_one() -> None:
    corners = tuple(tuple(map(float, c)) for c in CARD)
    scale = document_of(done(ByRectangle((60.0, 40.0), corners)))["scale"]  # type: ignore[arg-type]
    assert scale["method"] == "length"
    assert scale["known"] == "rectangle"
    assert scale["tilt_deg"] == pytest.approx(0, abs=0.5)


def test_scale_is_that_of_the_boards_whole_face_where_the_photo_looks_at_it_askew() -> None:
    seen = np.array([[90.0, 60.0], [520.0, 20.0], [470.0, 330.0], [130.0, 290.0]])
    to_photo = cv2.getPerspectiveTransform(CARD.astype(np.float32), seen.astype(np.float32))
    row = cv2.perspectiveTransform(np.array(ROW) * PX_PER_MM, to_photo)
    board = polygon_share(seen, SHAPE) > 0.5
    photo = Photo("askew.jpg", "ab" * 32, np.full((*SHAPE, 3), 90, np.uint8), "JPEG", 500.0)
    corners = tuple(tuple(map(float, c)) for c in seen)
    known = KnownCoverage(union_share(row, SHAPE), board, (ERROR,))
    wanted = Request(ByRectangle((60.0, 40.0), corners), segmenter=known)  # type: ignore[arg-type]
    # the ratio of the areas by hand; at the contacts alone it is 18 % less
    by_hand = np.sqrt(cv2.contourArea(seen.astype(np.float32)) / 2400)
    assert document_of(measure(photo, wanted))["scale"]["px_per_mm"] == pytest.approx(by_hand, rel=5e-3)


def test_without_scale_there_are_shares_instead_of_areas() -> None:
    document = document_of(done(WithoutScale()))
    assert document["scale"] == {"method": "none", "px_per_mm": None, "relative_uncertainty": None}
    assert document["plated_area_mm2"] is None
    assert document["gold_mg"] is None
    assert document["model"] is None
    assert document["budget"] == []
    assert document["by_finish"] == {f: {"area_mm2": None, "gold_mg": None} for f in FINISHES}
    assert document["plated_share_of_frame"] == pytest.approx(116 * 64 / 240_000, rel=0.01)
    [board] = document["boards"]
    assert board["area_mm2"] is None
    assert board["plated_share"] == pytest.approx(116 / 2400, rel=0.03)
    assert board["contacts"][0]["pitch_mm"] is None
    assert "no-scale" in {w["code"] for w in document["warnings"]}
    assert "refused" not in document


def test_a_refused_photo_says_why() -> None:
    document = document_of(done(Automatic()))
    assert document["refused"]["code"] == "no-scale"
    assert document["warnings"][0] == document["refused"]
    assert [w["code"] for w in document["warnings"]].count("no-scale") == 1
    assert document["plated_area_mm2"] is None
    assert document["plated_share_of_frame"] > 0


def test_no_plating_is_a_measured_nothing() -> None:
    document = document_of(done(plated=False))
    nothing = {"value": 0.0, "low": 0.0, "high": 0.0, "level": 0.9}
    assert document["plated_area_mm2"] == nothing
    assert document["gold_mg"] == nothing
    assert document["budget"] == []
    assert document["scale"]["px_per_mm"] == pytest.approx(PX_PER_MM, rel=1e-6)
    [measured] = measurements_of([("card.json", document)])
    assert measured.gold.terms == ()


def test_goes_through_a_file_to_the_valuation_and_stays_the_same_quantity() -> None:
    measurement = usual()
    assert measurement.gold is not None
    assert measurement.area is not None
    document = json.loads(json.dumps(document_of(measurement)))
    [measured] = measurements_of([("card.json", document)])
    assert measured.photo == "card.jpg"
    assert measured.sha256 == "cd" * 32
    np.testing.assert_allclose(measured.gold.draws(500), measurement.gold.total.draws(500), rtol=1e-12)
    assert set(measured.areas) == {"hard_gold", "immersion_gold"}
    for finish, model in measured.areas.items():
        np.testing.assert_allclose(model.draws(500), measurement.area.by_finish[finish].draws(500), rtol=1e-12)
    assert {n.code for n in measured.warnings} == {n.code for n in measurement.notices}


@pytest.mark.parametrize("choice", [WithoutScale(), Automatic()])
def test_a_photo_without_gold_cannot_be_valued_and_says_so(choice: ScaleChoice) -> None:
    with pytest.raises(UsageError, match=r"card\.jpg"):
        measurements_of([("card.json", document_of(done(choice)))])


def test_gold_of_boards_follows_stated_properties_like_the_total() -> None:
    def fixed(value: GoldProperties) -> GoldProperties:
        return replace(
            value, thickness=Input("thickness", "test", Distribution("constant", (2.0,)), "test", "um", of=("test",))
        )

    known = {finish: fixed(p) for finish, p in gold_properties().items()}
    measurement = done(properties=known)
    document = document_of(measurement)
    board = document["boards"][0]["by_finish"]
    for finish in ("hard_gold", "immersion_gold"):
        assert board[finish]["gold_mg"] == document["by_finish"][finish]["gold_mg"]
    assert document["boards"][0]["by_finish"] != document_of(usual())["boards"][0]["by_finish"]


def test_the_model_can_be_read_by_itself() -> None:
    document = document_of(usual())
    gold = ProductModel.from_json(document["model"]["gold_mg"])
    assert np.median(gold.draws()) == pytest.approx(document["gold_mg"]["value"], rel=1e-9)


def test_the_number_of_boards_and_how_sure_it_is() -> None:
    found = document_of(usual())["board_count"]
    assert (found["low"], found["value"], found["high"]) == (1, 1, 1)
    assert sum(found["chances"].values()) == pytest.approx(1.0, abs=1e-3)
    (measured,) = measurements_of([("here", document_of(usual()))])
    assert measured.board_count.value == 1
    assert document_of(done(WithoutScale()))["board_count"] is None


def test_a_lot_is_estimated_from_the_measurement_itself_as_from_its_file() -> None:
    """No figure hangs on having been written and read in between."""
    direct = Measured.of(usual())
    (through_a_file,) = measurements_of([("card.json", json.loads(json.dumps(direct.to_dict())))])
    assert through_a_file == direct
    here, there = (estimate_lot(one_part([m], count="300")).gold_mg for m in (direct, through_a_file))
    assert np.array_equal(here.draws(500), there.draws(500))
