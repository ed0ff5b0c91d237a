"""What a measurement shows must be what its model gives; what is really written always passes."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.distributions import Distribution
from calibration.errors import DataFileError
from calibration.inputs import Input
from calibration.scale import Scale
from grader.correct import Correction, Corrections, FinishChanged, LeftOut, PaintedIn
from grader.correct.measured import correct
from grader.coverage import Coverage
from grader.gold import gold_mass
from grader.learn.invented import invented
from grader.measured import Measured, measurements_of
from grader.model import EMPTY, FINISHES, Finish, ProductModel, Range
from grader.photo import Photo
from grader.pipeline import measure
from grader.request import Request
from grader.scale_choice import ByLength
from tests.measured_photos import document_of

TABLE, MASK, GOLD = (120, 120, 125), (30, 90, 50), (190, 150, 70)
SCALE = Input.named("scale:a", "scale", Distribution("normal", (1.0, 0.02)), "test")


def document(areas: dict[Finish, float], doubt: float = 0.0) -> dict[str, Any]:
    """A measurement as it is written: hard gold may be immersion gold by a chance."""
    models = {f: ProductModel.of(a, [SCALE]) for f, a in areas.items() if a > 0}
    if doubt and "hard_gold" in models:
        values = (1.0,) * round(20 * (1 - doubt)) + (0.0,) * round(20 * doubt)
        is_hard = Input.named("finish:a", "finish", Distribution("sample", values), "test")
        known = models.pop("hard_gold")
        models["hard_gold"] = known.times([is_hard])
        models["immersion_gold"] = models.get("immersion_gold", EMPTY) + known + known.times([is_hard], -1.0)
    gold = gold_mass(models)
    nothing = Range(0.0, 0.0, 0.0).as_json()

    def shown(model: ProductModel) -> dict[str, float]:
        return Range.of(model.draws()).as_json() if model.terms else nothing

    return {
        "schema": 1,
        "photo": "a.jpg",
        "sha256": "ab" * 32,
        "scale": {"method": "target"},
        "plated_area_mm2": shown(sum(models.values(), EMPTY)),
        "gold_mg": shown(gold.total),
        "by_finish": {
            f: {
                "area_mm2": shown(models.get(f, EMPTY)),
                "gold_mg": shown(gold.by_finish.get(f, EMPTY)),
            }
            for f in FINISHES
        },
        "boards": [
            {
                "area_mm2": Range(4000.0, 3900.0, 4100.0).as_json(),
                "by_finish": {f: {"gold_mg": shown(gold.by_finish.get(f, EMPTY))} for f in FINISHES},
                "gold_terms": gold.total.as_json()["terms"],
                "outline_px": [[0, 0], [10, 0], [10, 10], [0, 10]],
            }
        ],
        "model": {"area_mm2": {f: m.as_json() for f, m in models.items()}, "gold_mg": gold.total.as_json()},
        "warnings": [],
    }


def read(changed: dict[str, Any]) -> Measured:
    (measured,) = measurements_of([("a.json", changed)])
    return measured


def code_of(changed: dict[str, Any]) -> str:
    with pytest.raises(DataFileError) as caught:
        read(changed)
    assert "a.json, photo a.jpg" in caught.value.message
    assert "Measure the photo again" in caught.value.advice
    return caught.value.code


@settings(max_examples=40, deadline=None)
@given(
    hard=st.one_of(st.just(0.0), st.floats(0.01, 1e5)),
    immersion=st.one_of(st.just(0.0), st.floats(0.01, 1e5)),
    doubt=st.sampled_from([0.0, 0.05, 0.5, 0.95]),
)
def test_what_is_written_is_read(hard: float, immersion: float, doubt: float) -> None:
    """Chances of 5 and 95 % put the bounds of a finish at the very jump between nothing and all of it."""
    written = document({"hard_gold": hard, "immersion_gold": immersion}, doubt)
    assert read(written).gold == ProductModel.from_json(written["model"]["gold_mg"])


def test_invented_measurements_are_read() -> None:
    for each in invented(5):
        measured = each.measured()
        assert read(measured.to_dict()) == measured


@pytest.mark.parametrize("key", ["gold_mg", "plated_area_mm2"])
@pytest.mark.parametrize("bound", ["value", "low", "high"])
@pytest.mark.parametrize("factor", [0.5, 2.0, 1000.0, -1.0])
def test_a_shown_figure_that_was_edited_is_found(key: str, bound: str, factor: float) -> None:
    changed = document({"hard_gold": 100.0, "undetermined": 20.0})
    changed[key][bound] *= factor
    assert code_of(changed) == "measurement-contradicts"


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d["by_finish"]["hard_gold"]["area_mm2"].update(value=500.0),
        lambda d: d["by_finish"]["hard_gold"]["gold_mg"].update(value=500.0),
        lambda d: d["by_finish"]["undetermined"]["area_mm2"].update(high=3.0),
        lambda d: d["boards"][0]["by_finish"]["hard_gold"]["gold_mg"].update(value=500.0),
        lambda d: d["boards"][0]["by_finish"]["hard_gold"]["gold_mg"].update(value=-1.0),
    ],
)
def test_figures_of_finishes_and_boards_are_compared(change: Callable[[dict[str, Any]], Any]) -> None:
    changed = document({"hard_gold": 100.0})
    change(changed)
    assert code_of(changed) == "measurement-contradicts"


@pytest.mark.parametrize("coefficient", [-1.0, -1e-3, 1e300, 1e12])
def test_a_model_of_no_photo_is_refused(coefficient: float) -> None:
    """Also where the shown figures were left out, so that there is nothing to contradict."""
    changed = document({"hard_gold": 100.0})
    for model in (changed["model"]["gold_mg"], changed["model"]["area_mm2"]["hard_gold"]):
        for term in model["terms"]:
            term["coefficient"] *= coefficient
    for key in ("gold_mg", "plated_area_mm2", "by_finish", "boards"):
        del changed[key]
    assert code_of(changed) == ("model-invalid" if coefficient == 1e300 else "measurement-absurd")


@pytest.mark.parametrize(
    ("place", "number"),
    [
        ('"area_mm2": {"value": 4000.0', '"area_mm2": {"value": 1e300'),
        ('"area_mm2": {"value": 4000.0', f'"area_mm2": {{"value": {10**400}'),
        ("[10, 10]", f"[10, {10**400}]"),
        ("[10, 10]", "[10, 1e300]"),
        ('"coefficient": 100.0', f'"coefficient": {10**400}'),
        ('"parameters": [1.0, 0.02]', f'"parameters": [{10**400}, 0.02]'),
        ('"level": 0.9', '"level": 2'),
        ('"gold_mg": {"value": ', '"gold_mg": {"value": true, "was": '),
    ],
)
def test_numbers_that_are_none_end_in_one_typed_error(place: str, number: str) -> None:
    text = json.dumps(document({"hard_gold": 100.0}))
    assert place in text
    with pytest.raises(DataFileError):
        read(json.loads(text.replace(place, number)))


def test_a_shown_range_may_be_left_out_or_be_rounded() -> None:
    whole = document({"hard_gold": 100.0})
    for key in ("gold_mg", "plated_area_mm2", "by_finish", "boards"):
        less = copy.deepcopy(whole)
        del less[key]
        assert read(less).gold == read(whole).gold
    rounded = json.loads(json.dumps(whole), parse_float=lambda text: float(f"{float(text):.3g}"))
    rounded["model"] = whole["model"]
    assert read(rounded).gold == read(whole).gold


class ByColour:
    """Coverage read off the drawn colours, exactly."""

    name = "drawn"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        plated = (photo.rgb == GOLD).all(axis=2)
        board = plated | (photo.rgb == MASK).all(axis=2)
        return Coverage(plated.astype(np.uint8) * np.uint8(255), board, self.name, ())


@pytest.mark.parametrize("contacts", [0, 8])
def test_documents_of_measured_and_of_corrected_photos_are_read(contacts: int) -> None:
    rgb = np.full((400, 600, 3), TABLE, np.uint8)
    rgb[100:300, 100:400] = MASK
    for i in range(contacts):
        rgb[270:300, 120 + 30 * i : 135 + 30 * i] = GOLD
    request = Request(scale=ByLength(100.0, (10.0, 10.0), (510.0, 10.0)), segmenter=ByColour())
    found = measure(Photo("a.jpg", "ab" * 32, rgb, "PNG"), request)
    corrections: tuple[Correction, ...] = (PaintedIn(((200.0, 150.0), (260.0, 150.0)), 9.0, "immersion_gold"),)
    if contacts:
        corrections += (FinishChanged((127.0, 285.0), "immersion_gold"), LeftOut((157.0, 285.0)))
    for done in (found, correct(found, Corrections(corrections))):
        assert done.gold is not None
        assert read(json.loads(json.dumps(document_of(done)))).gold == done.gold.total
