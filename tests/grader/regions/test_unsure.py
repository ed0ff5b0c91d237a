"""Which places a person is asked about: those of which the shares themselves say that they may be none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from grader.correct import Confirmed, Corrections, FinishChanged, LeftOut, apply_corrections
from grader.coverage import Coverage
from grader.regions import Regions
from grader.regions.unsure import UnsurePlace, unsure_places
from tests.regions_of import find_regions

SHAPE = (200, 300)
SURE, PALE, SPECK = (40, 40), (40, 160), (150, 250)


def scene(pale: int = 160) -> tuple[Coverage, Regions]:
    """Wholly plated, pale, and a pale speck of little area; plain blocks."""
    share = np.zeros(SHAPE, np.uint8)
    for (y, x), size, value in ((SURE, 50, 255), (PALE, 40, pale), (SPECK, 5, 160)):
        share[y : y + size, x : x + size] = value
    coverage = Coverage(share, np.ones(SHAPE, np.bool_), "truth", ())
    return coverage, find_regions(coverage, None)


def test_a_pale_place_is_asked_about_and_no_other() -> None:
    [place] = unsure_places(*scene())
    (x, y) = place.at_px[0]
    assert PALE[1] <= x < PALE[1] + 40
    assert PALE[0] <= y < PALE[0] + 40
    left, top, right, bottom = place.box_px
    assert 0 <= left < PALE[1]
    assert PALE[1] + 40 < right <= SHAPE[1]
    assert 0 <= top < PALE[0]
    assert bottom <= SHAPE[0]
    assert place.share == pytest.approx(1600 * 160 / (2500 * 255 + 1600 * 160 + 25 * 160), rel=1e-6)


def test_nothing_is_asked_where_all_is_plain() -> None:
    assert unsure_places(*scene(pale=250)) == ()
    nothing = Coverage(np.zeros(SHAPE, np.uint8), np.ones(SHAPE, np.bool_), "truth", ())
    assert unsure_places(nothing, find_regions(nothing, None)) == ()


@pytest.mark.parametrize(
    ("answer", "stays"),
    [(Confirmed, True), (LeftOut, False), (lambda at: FinishChanged(at, "hard_gold"), True)],
)
def test_what_a_person_answered_is_not_asked_again(answer: object, stays: bool) -> None:
    coverage, regions = scene()
    [place] = unsure_places(coverage, regions)
    assert callable(answer)
    corrected = apply_corrections(coverage, regions, Corrections((answer(place.at_px[0]),)))
    assert unsure_places(*corrected) == ()
    assert bool(corrected[0].share[PALE[0] + 5, PALE[1] + 5]) == stays


def test_yes_leaves_everything_as_it_was_found() -> None:
    coverage, regions = scene()
    [place] = unsure_places(coverage, regions)
    after, described = apply_corrections(coverage, regions, Corrections((Confirmed(place.at_px[0]),)))
    assert (after.share == coverage.share).all()
    assert [replace(r, judged=False).finish for r in described.regions] == [r.finish for r in regions.regions]
    assert [r.doubt for r in described.regions] == [r.doubt for r in regions.regions]


def test_yes_brings_back_what_was_left_out_and_keeps_a_finish() -> None:
    coverage, regions = scene()
    [place] = unsure_places(coverage, regions)
    at = place.at_px[0]
    after, _ = apply_corrections(coverage, regions, Corrections((LeftOut(at), Confirmed(at))))
    assert (after.share == coverage.share).all()
    _, named = apply_corrections(coverage, regions, Corrections((FinishChanged(at, "hard_gold"), Confirmed(at))))
    [there] = [r for r in named.regions if named.labels[int(at[1]), int(at[0])] == r.number]
    assert there.finish == "hard_gold"


def test_contacts_of_a_row_are_one_question() -> None:
    share = np.zeros(SHAPE, np.uint8)
    for x in range(30, 270, 12):
        share[60:100, x : x + 7] = 150
    coverage = Coverage(share, np.ones(SHAPE, np.bool_), "truth", ())
    [place] = unsure_places(coverage, find_regions(coverage, None))
    assert isinstance(place, UnsurePlace)
    assert len(place.at_px) == 20
    assert place.share == pytest.approx(1.0)
