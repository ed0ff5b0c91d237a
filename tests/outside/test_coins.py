"""Discs of the diameters that mints publish, projected exactly at any pose, give the photo's scale back.

Diameters and sources stand in ``calibration/data/standard_objects.toml`` (read or from memory, said for each). Coins
that are not round are rendered as discs of their published width here: their outline is refused elsewhere, but the
figure must serve.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.from_coin import scale_from_coin
from calibration.standard_objects import standard_objects
from calibration.view import View as Seen
from tests.drawn_sheets import View

COINS = [o for o in standard_objects().values() if o.kind == "coin"]


@pytest.mark.parametrize("number", range(len(COINS)), ids=[c.name for c in COINS])
def test_a_disc_gives_the_scale_back_within_half_a_per_cent(number: int) -> None:
    diameter = COINS[number].sizes_mm[0]
    rng = np.random.default_rng(number)
    focal = 1200.0
    view = View(
        1600, 1200, focal, rng.uniform(0, 30), rng.uniform(0, 360), rng.uniform(0, 360), rng.uniform(150, 260), (0, 0)
    )
    x, y = view.intersect(np.array([[rng.uniform(300, 1300), rng.uniform(300, 900)]]))[0]
    a = np.arange(12) * math.pi / 6 + rng.uniform(0, 6)
    r = diameter / 2
    rim = view.project(np.column_stack([x + r * np.cos(a), y + r * np.sin(a), np.zeros(12)]))
    scale = scale_from_coin(Seen((1200, 1600, 3), focal, id="p"), diameter, rim, marking_sd_px=0.1)
    middle = view.project(np.array([[x, y, 0.0]]))
    across, down = (view.intersect(middle + d) - view.intersect(middle - d) for d in ([0.5, 0], [0, 0.5]))
    truth = 1 / math.sqrt(abs(across[0, 0] * down[0, 1] - across[0, 1] * down[0, 0]))
    assert scale.px_per_mm == pytest.approx(truth, rel=0.005)
