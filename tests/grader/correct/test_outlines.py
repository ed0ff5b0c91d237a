"""Outlines of regions: they enclose what was found, holes and all, and the place inside lies inside."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from grader.correct import region_at
from grader.correct.outlines import outlines
from grader.coverage import Coverage
from grader.regions import Regions
from tests.drawn_boards import box, polygon_share, union_share
from tests.regions_of import find_regions

SHAPE = (200, 260)


def found_in(share: np.ndarray) -> tuple[np.ndarray, Regions]:
    levels = np.round(255 * share).astype(np.uint8)
    return levels, find_regions(Coverage(levels, np.ones(SHAPE, bool), "truth", ()), None)


def area_of(ring: np.ndarray) -> float:
    return float(cv2.contourArea(ring.astype(np.float32).reshape(-1, 1, 2)))


@given(st.floats(8, 90), st.floats(8, 60), st.floats(0, 180))
@settings(max_examples=40, deadline=None)
def test_an_outline_has_the_area_of_its_region(length: float, width: float, angle: float) -> None:
    share, regions = found_in(polygon_share(box((130.3, 100.6), length, width, angle), SHAPE))
    (outline,) = outlines(share, regions)
    (ring,) = outline.rings_px
    # the ring goes through pixels' centres, which leaves half a pixel out all round; straightening moves less again
    inside = (length - 1) * (width - 1)
    assert inside - 0.5 * 2 * (length + width) <= area_of(ring) <= length * width + 0.5 * 2 * (length + width)
    assert outline.plated_px == np.count_nonzero(share > 127)
    assert outline.reach_px <= (length + width) / 2 + 1


def test_holes_are_rings_of_their_own() -> None:
    frame = polygon_share(box((100, 100), 80, 60), SHAPE) - polygon_share(box((100, 100), 40, 20), SHAPE)
    share, regions = found_in(frame)
    (outline,) = outlines(share, regions)
    assert sorted(area_of(r) for r in outline.rings_px) == pytest.approx([40 * 20, 80 * 60], rel=0.05)
    assert region_at(regions, outline.inside_px) is not None


def test_the_largest_comes_first_and_each_place_names_its_region() -> None:
    sizes = [(30.0, 20.0), (80.0, 30.0), (10.0, 10.0)]
    share, regions = found_in(
        union_share([box((130.0, 30.0 + 60 * i), *size) for i, size in enumerate(sizes)], SHAPE)
    )
    shown = outlines(share, regions)
    assert [o.plated_px for o in shown] == pytest.approx([2400, 600, 100], rel=0.25)
    for outline in shown:
        assert region_at(regions, outline.inside_px) is outline.region


def test_nothing_found_has_no_outlines() -> None:
    assert outlines(*found_in(np.zeros(SHAPE))) == ()


@pytest.mark.parametrize("at", [(-3.0, 10.0), (10.0, -0.6), (260.0, 5.0), (5.0, 200.0), (250.0, 190.0)])
def test_no_region_lies_outside_the_photo_or_on_bare_board(at: tuple[float, float]) -> None:
    _, regions = found_in(polygon_share(box((60.0, 60.0), 40, 40), SHAPE))
    assert region_at(regions, at) is None
