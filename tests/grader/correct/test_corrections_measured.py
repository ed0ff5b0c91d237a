"""A corrected measurement: area, grams and share of the frame follow, and soon."""

from __future__ import annotations

import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.inputs import Input
from calibration.thickness import THICKNESS, GoldProperties, gold_properties
from grader.correct import Correction, Corrections, FinishChanged, LeftOut, PaintedIn, PaintedOut
from grader.correct.measured import correct
from grader.cut import CutBoard, cut_boards
from grader.gold import gold_mass
from grader.model import Finish, Range
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByLength
from tests.drawn_boards import KnownCoverage, box, contact_row, union_share

SHAPE = (240, 320)
PX_PER_MM = 8.0
SEGMENTER = Input("segmentation", "segmenter", Distribution("lognormal", (1.0, 0.12)), "test", of=("x",))
ROW = contact_row((60.0, 60.0), 10, 20.0, (11.0, 44.0))
PAD = box((160.0, 170.0), 40.0, 30.0)


def middle(of: np.ndarray) -> tuple[float, float]:
    x, y = of.mean(axis=0)
    return float(x), float(y)


def measured(share: np.ndarray, length: float = 100.0, **request: Any) -> Measurement:
    photo = Photo("drawn.png", "ab" * 32, np.full((*share.shape, 3), 90, np.uint8), "PNG")
    known = ByLength(length / PX_PER_MM, (10.0, 10.0), (10.0 + length, 10.0))
    segmenter = KnownCoverage(share, np.ones(share.shape, bool), (SEGMENTER,))
    return measure(photo, Request(known, **{"segmenter": segmenter, **request}))


@pytest.fixture(scope="module")
def drawn() -> Measurement:
    return measured(union_share([*ROW, PAD], SHAPE))


def test_no_corrections_give_back_what_was_found(drawn: Measurement) -> None:
    assert correct(drawn, Corrections()) is drawn
    assert correct(correct(drawn, Corrections((LeftOut(middle(PAD)),))), Corrections()) is drawn


def test_corrections_replace_those_before(drawn: Measurement) -> None:
    one, two = Corrections((LeftOut(middle(PAD)),)), Corrections((LeftOut(middle(ROW[0])),))
    assert np.array_equal(correct(correct(drawn, one), two).coverage.share, correct(drawn, two).coverage.share)


def test_left_out_gold_is_gone_from_the_grams(drawn: Measurement) -> None:
    done = correct(drawn, Corrections(tuple(LeftOut(middle(c)) for c in ROW), drawn.photo.sha256))
    assert done.gold is not None
    assert drawn.gold is not None
    assert done.found is drawn
    assert done.area is not None
    assert sum(t.coefficient for t in done.area.total.terms) == pytest.approx(40 * 30 / PX_PER_MM**2, rel=0.01)
    assert Range.of(done.gold.total.draws()).value < Range.of(drawn.gold.total.draws()).value / 3
    assert "tilt-unknown" in {n.code for n in done.notices}
    assert [r.count for r in drawn.readings] == [10]
    assert done.readings == ()


def test_corrections_of_another_photo_are_refused(drawn: Measurement) -> None:
    with pytest.raises(UsageError) as error:
        correct(drawn, Corrections((LeftOut((1.0, 1.0)),), "cd" * 32))
    assert error.value.code == "corrections-other-photo"


def test_without_scale_the_share_of_the_frame_follows() -> None:
    share = union_share([*ROW, PAD], SHAPE)
    photo = Photo("drawn.png", "ab" * 32, np.full((*SHAPE, 3), 90, np.uint8), "PNG")
    found = measure(photo, Request(segmenter=KnownCoverage(share, np.ones(SHAPE, bool))))
    assert found.refused is not None
    done = correct(found, Corrections((LeftOut(middle(PAD)),)))
    assert done.area is None
    assert done.refused is found.refused
    assert done.coverage.share.sum() / 255 == pytest.approx(10 * 11 * 44, rel=0.001)


def test_a_correction_of_a_12_megapixel_photo_takes_less_than_half_a_second() -> None:
    """Processor time, so that other work on the machine does not count."""
    shape = (3000, 4000)
    share = np.zeros(shape)
    for row in range(8):
        top = 200 + 340 * row
        share[top : top + 120, 200:3800] = (np.arange(3600) % 40 < 24) * 1.0  # 720 contacts, 1.6 megapixels
    found = measured(share, 1000.0)
    rng = np.random.default_rng(5)

    def wander() -> tuple[tuple[float, float], ...]:
        return tuple(map(tuple, (rng.normal(0, 9, (80, 2)).cumsum(axis=0) + np.array([2000, 1500])).tolist()))

    items: list[Correction] = [PaintedIn(wander(), 18.0, "hard_gold") for _ in range(30)]
    correct(found, Corrections(tuple(items)))
    took = []
    for _ in range(3):
        items.append(PaintedOut(wander(), 25.0))
        start = time.process_time()
        done = correct(found, Corrections(tuple(items)))
        assert done.gold is not None
        Range.of(done.gold.total.draws())
        took.append(time.process_time() - start)
    assert min(took) < 0.5


@pytest.fixture(scope="module")
def learned() -> dict[Finish, GoldProperties]:
    """A thickness that yields taught, a tenth of the published one."""
    published = gold_properties()
    taught = {
        f: replace(p.thickness, distribution=Distribution("lognormal", (0.05, 0.05)), belief="0c1d")
        for f, p in published.items()
    }
    return gold_properties(taught)


def _middle(done: Measurement) -> float:
    assert done.gold is not None
    return Range.of(done.gold.total.draws()).value


def test_a_correction_keeps_the_thickness_that_was_measured_with(learned: dict[Finish, GoldProperties]) -> None:
    """Else one stroke of the brush would turn learned milligrams into published ones, ten times as many."""
    found = measured(union_share([*ROW, PAD], SHAPE), properties=learned)
    done = correct(found, Corrections((FinishChanged(middle(PAD), "immersion_gold"),)))
    assert done.gold is not None
    assert done.area is not None
    assert done.gold == gold_mass(done.area.by_finish, learned)
    assert done.gold_by_board == tuple(gold_mass(area, learned) for area in done.area.by_board)
    # thickness is the same for all finishes here, so that a finish that was changed changes next to nothing
    assert _middle(done) == pytest.approx(_middle(found), rel=0.05)
    again = correct(done, Corrections((PaintedIn(((20.0, 20.0),), 3.0, "hard_gold"),)))
    assert again.gold is not None
    assert all(i.is_recovered for i in again.gold.total.used_inputs() if i.kind == THICKNESS)
    assert _middle(again) < 0.5 * _middle(correct(measured(union_share([*ROW, PAD], SHAPE)), again.corrections))


def test_boards_to_cut_keep_it_too(learned: dict[Finish, GoldProperties]) -> None:
    share = union_share([*ROW, PAD], SHAPE)
    board = np.pad(np.ones((SHAPE[0] - 20, SHAPE[1] - 20), bool), 10)
    segmenter = KnownCoverage(share, board, (SEGMENTER,))
    found = measured(share, properties=learned, segmenter=segmenter)
    done = correct(found, Corrections((LeftOut(middle(PAD)),)))
    for each in (found, done):
        (board,) = cut_boards(each)
        assert isinstance(board, CutBoard)
        (face,) = board.faces
        taught = [i for gold in face.gold_per_mm2.values() for i in gold.used_inputs() if i.kind == THICKNESS]
        assert taught
        assert all(i.is_recovered for i in taught)
