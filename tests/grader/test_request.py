"""How a photo was measured comes back from JSON as it was."""

from __future__ import annotations

import json

import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from calibration.target import PatchPlace, TargetDescription, own_target
from calibration.thickness import gold_properties
from grader.request import Request
from grader.scale_choice import Automatic, ByCoin, ByLength, ByPitch, ByRectangle, ByTarget, ScaleChoice, WithoutScale

SHEET = TargetDescription(
    "DICT_5X5_100", 7, 5, 12.0, 9.0, origin_mm=(6.0, 6.0), grey_patches=(PatchPlace(0.18, 1.0, 2.0, 3.0, 4.0),)
)
CORNERS = ((0.0, 0.5), (10.0, 0.0), (10.0, 8.0), (0.0, 8.0))
SCALES: tuple[ScaleChoice, ...] = (
    Automatic(),
    WithoutScale(),
    ByPitch(1.27),
    ByLength(133.35, (1.5, 2.0), (300.0, 2.0)),
    ByLength(133.35, (1.5, 2.0), (300.0, 2.0), 0.09),
    ByRectangle((85.6, 53.98), CORNERS, 0.07),
    ByCoin(25.75, 2.2, (*CORNERS, (5.0, -2.0)), 0.02),
    ByTarget(SHEET),
    ByTarget(own_target("a4")),
)


@pytest.mark.parametrize("scale", SCALES)
def test_every_way_to_scale_comes_back(scale: ScaleChoice) -> None:
    asked = Request(scale, 1.6, Distribution("normal", (0.994, 0.001)))
    assert Request.from_json(json.loads(json.dumps(asked.as_json()))) == asked


def test_no_way_is_left_out() -> None:
    assert {type(scale) for scale in SCALES} == set(ScaleChoice.__args__)


def test_learned_properties_come_back() -> None:
    drawn = Input("thickness", "thickness", Distribution("sample", (0.1, 0.4, 0.2)), "six batches", "um", belief="1")
    asked = Request(properties=gold_properties({"hard_gold": drawn}))
    assert Request.from_json(json.loads(json.dumps(asked.as_json()))) == asked


def test_what_is_no_request_is_told_so() -> None:
    with pytest.raises(ValueError, match="ByGuess"):
        Request.from_json({**Request().as_json(), "scale": {"kind": "ByGuess"}})


@pytest.mark.parametrize("name", [None, "own"])
def test_a_segmenter_comes_back_by_its_name(name: str | None) -> None:
    asked = Request(segmenter=name)
    assert Request.from_json(json.loads(json.dumps(asked.as_json()))) == asked
    older = {key: value for key, value in Request().as_json().items() if key != "segmenter"}
    assert Request.from_json(older) == Request()
