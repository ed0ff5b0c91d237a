"""How a photo was measured comes back from JSON as it was."""

from __future__ import annotations

import json

import pytest

from app.lots.request_json import request_json, request_of
from calibration.inputs import Distribution, Input
from calibration.target import PatchPlace, TargetDescription, own_target
from calibration.thickness import gold_properties
from grader.pipeline import (
    Automatic,
    ByCoin,
    ByLength,
    ByPitch,
    ByRectangle,
    ByTarget,
    Request,
    ScaleChoice,
    WithoutScale,
)

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
    assert request_of(json.loads(json.dumps(request_json(asked)))) == asked


def test_no_way_is_left_out() -> None:
    assert {type(scale) for scale in SCALES} == set(ScaleChoice.__args__)


def test_learned_properties_come_back() -> None:
    drawn = Input("thickness", "thickness", Distribution("sample", (0.1, 0.4, 0.2)), "six batches", "um", belief="1")
    asked = Request(properties=gold_properties({"hard_gold": drawn}))
    assert request_of(json.loads(json.dumps(request_json(asked)))) == asked


def test_what_is_no_request_is_told_so() -> None:
    with pytest.raises(ValueError, match="ByGuess"):
        request_of({**request_json(Request()), "scale": {"kind": "ByGuess"}})
