"""Copies of photos: marks lie where the copy shows what they marked."""

import numpy as np
import pytest

from grader.photo import Photo
from grader.scale_choice import ByLength
from tests.transforms.copies import COPIES, Copy


@pytest.mark.parametrize("copy", COPIES, ids=lambda copy: copy.name)
def test_a_mark_lies_on_what_it_marked(copy: Copy) -> None:
    rgb = np.full((200, 300, 3), 60, np.uint8)
    rgb[116:125, 216:225] = 250  # about (220, 120)
    photo = Photo("a", "a" * 64, rgb, "PNG", 400.0)
    done = copy.photo(photo)
    choice = copy.choice(ByLength(10.0, (220.0, 120.0), (20.0, 30.0)), photo)
    assert isinstance(choice, ByLength)
    ys, xs = np.nonzero(done.rgb[..., 0] > 180)
    lit = done.rgb[..., 0] > 180
    if copy.name == "framed":
        lit[:9] = lit[-9:] = lit[:, :9] = lit[:, -9:] = False
        ys, xs = np.nonzero(lit)
    assert choice.start_px == pytest.approx((xs.mean(), ys.mean()), abs=0.6)
    assert done.focal_px == pytest.approx(400.0 * copy.factor)
