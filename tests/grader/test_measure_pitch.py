"""Scale from the stated pitch of a row of contacts, with the coverage known exactly."""

import numpy as np
import pytest

from calibration.errors import UsageError
from grader.photo import Photo
from grader.pipeline import Measurement, measure
from grader.request import Request
from grader.scale_choice import ByPitch
from tests.drawn_boards import KnownCoverage, box, contact_row, polygon_share, union_share


def run(pitch_mm: float, share: np.ndarray, board: np.ndarray) -> Measurement:
    photo = Photo("scene.png", "ab" * 32, np.zeros((*share.shape, 3), np.uint8), "PNG")
    return measure(photo, Request(scale=ByPitch(pitch_mm), segmenter=KnownCoverage(share, board)))


@pytest.mark.parametrize("key_gap_mm", [0.0, 2.0, 1.4])
@pytest.mark.parametrize("angle_deg", [0.0, 20.0])
def test_a_known_pitch(key_gap_mm: float, angle_deg: float) -> None:
    """Scale from the row alone; a key need not be a whole number of steps wide."""
    px_per_mm, shape = 11.3, (500, 700)
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    row = contact_row((12.0, 18.0), 30, 1.0, (0.7, 4.3), key_after=11, key_gap=key_gap_mm)
    share = union_share([c @ turn * px_per_mm for c in row], shape)
    board = polygon_share(box((29.0, 10.0), 50.0, 22.0) @ turn * px_per_mm, shape) > 0.5
    done = run(1.0, share, board)
    assert done.scale is not None
    assert done.scale.method == "pitch"
    assert done.scale.px_per_mm == pytest.approx(px_per_mm, rel=1.5e-3)
    assert done.area is not None
    assert sum(t.coefficient for t in done.area.total.terms) == pytest.approx(30 * 0.7 * 4.3, rel=3e-3)
    assert [r.count for r in done.regions.rows] == [30]
    assert done.regions.rows[0].pitch == pytest.approx(1.0, rel=1.5e-3)


def test_pitch_scales_by_the_longest_even_row() -> None:
    shape = (500, 700)
    rows = contact_row((8.0, 10.0), 8, 2.0, (1.2, 5.0)) + contact_row((8.0, 30.0), 40, 1.0, (0.7, 4.3))
    share = union_share([c * 10 for c in rows], shape)
    done = run(1.0, share, np.ones(shape, bool))
    assert done.scale is not None
    assert done.scale.px_per_mm == pytest.approx(10.0, rel=1e-3)


@pytest.mark.parametrize("pitch_mm", [0.0, -1.0, float("nan"), float("inf")])
def test_a_pitch_that_cannot_be_is_wrong_use(pitch_mm: float) -> None:
    shape = (200, 700)
    share = union_share([c * 10 for c in contact_row((8.0, 10.0), 40, 1.0, (0.7, 4.3))], shape)
    with pytest.raises(UsageError):
        run(pitch_mm, share, np.ones(shape, bool))
