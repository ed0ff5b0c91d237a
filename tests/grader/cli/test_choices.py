"""Scale options from text: sizes, and names of things whose size is known."""

from __future__ import annotations

from typing import Any

import pytest

from calibration.errors import UsageError
from calibration.standard_objects import standard_objects
from grader.cli.choices import choose_scale
from grader.scale_choice import ByCoin, ByLength, ByPitch, ByRectangle, ScaleChoice

WIDE = ("100,100", "956,100", "956,640", "100,640")
TALL = ("100,100", "640,100", "640,956", "100,956")
RIM = ["10,0", "3,9", "-8,6", "-8,-6", "3,-9"]


def choose(**given: Any) -> ScaleChoice:
    names = ("target", "length", "start", "end", "rectangle", "corners", "pitch", "coin", "rim")
    return choose_scale(**{**dict.fromkeys(names), "no_scale": False, **given})


def refused(**given: Any) -> str:
    with pytest.raises(UsageError) as caught:
        choose(**given)
    return caught.value.code


def test_a_card_s_sides_follow_the_corners() -> None:
    wide, tall = choose(rectangle="ID-1 card", corners=WIDE), choose(rectangle="id-1  CARD", corners=TALL)
    assert isinstance(wide, ByRectangle)
    assert isinstance(tall, ByRectangle)
    assert wide.sides_mm == (85.60, 53.98)
    assert tall.sides_mm == (53.98, 85.60)
    assert wide.side_sd_mm == pytest.approx(0.12 / 3**0.5)


def test_paper_is_far_less_certain_than_a_card() -> None:
    paper = choose(rectangle="A4 sheet", corners=WIDE)
    assert isinstance(paper, ByRectangle)
    assert paper.side_sd_mm == pytest.approx(2.0 / 3**0.5)


def test_typed_sizes_are_as_before() -> None:
    assert choose(rectangle="85.6 x 53.98 mm", corners=WIDE) == ByRectangle(
        (85.6, 53.98), ((100, 100), (956, 100), (956, 640), (100, 640))
    )
    assert choose(length='5 1/4"', start="1,2", end="3,4") == ByLength(133.35, (1, 2), (3, 4))
    assert choose(pitch="1.27 mm") == ByPitch(1.27)


@pytest.mark.parametrize(
    ("name", "mm"), [("DIMM", 133.35), ("2 euro", 25.75), ("50 euro cent", 24.25), ("us quarter", 24.26)]
)
def test_lengths_by_name(name: str, mm: float) -> None:
    found = choose(length=name, start="1,2", end="300,4")
    assert isinstance(found, ByLength)
    assert found.length_mm == mm
    assert found.length_sd_mm is not None


def test_pitch_by_the_outline_s_name() -> None:
    assert choose(pitch="PCI Express") == ByPitch(1.0)
    assert refused(pitch="Nonesuch") == "family-unknown"


@pytest.mark.parametrize("name", [o.name for o in standard_objects().values() if o.outline in ("round", "flower")])
def test_round_coins_by_name(name: str) -> None:
    found = choose(coin=name, rim=RIM)
    assert isinstance(found, ByCoin)
    assert found.diameter_mm == standard_objects()[name].sizes_mm[0]
    assert found.thickness_mm > 1
    assert len(found.rim_px) == 5


@pytest.mark.parametrize("name", [o.name for o in standard_objects().values() if o.outline == "flats"])
def test_coins_with_flats_are_refused_as_circles_and_kept_as_lengths(name: str) -> None:
    assert refused(coin=name, rim=RIM) == "coin-not-round"
    assert isinstance(choose(length=name, start="1,2", end="300,4"), ByLength)


def test_rim_points_one_by_one_or_in_one_text() -> None:
    assert choose(coin="2 euro", rim=[" ".join(RIM)]) == choose(coin="2 euro", rim=RIM)
    assert choose(coin="24.26 mm", rim=RIM) == ByCoin(24.26, 0.0, ((10, 0), (3, 9), (-8, 6), (-8, -6), (3, -9)))


def test_what_does_not_belong_together_is_said() -> None:
    assert refused(coin="2 euro", rim=RIM, pitch="1 mm") == "scale-twice"
    assert refused(rim=RIM) == "coin-missing"
    assert refused(coin="groat", rim=RIM) == "object-unknown"
    assert refused(rectangle="beer mat", corners=WIDE) == "object-unknown"
    assert refused(length="ID-1 card", start="1,2", end="3,4") == "object-unknown"
    assert refused(coin="2 euro", rim=["1;2"]) == "point-invalid"
