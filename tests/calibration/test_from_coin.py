"""Scale from points on a coin's rim: exact on exact points, honest about what an ellipse cannot tell."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calibration.distributions import Distribution
from calibration.errors import ScaleError, UsageError
from calibration.from_coin import rise_over_coin, scale_from_coin
from calibration.scale import Scale
from calibration.view import View as Seen
from tests.drawn_sheets import View

SHAPE = (1200, 1600, 3)
FOCAL = 1200.0
DIAMETER = 24.26


def view_of(tilt: float, turn: float = 40.0) -> View:
    return View(1600, 1200, FOCAL, tilt, turn, 20.0, 200.0, (0.0, 0.0))


def rim_of(view: View, n: int = 10, centre: tuple[float, float] = (15.0, -8.0)) -> np.ndarray:
    a = np.arange(n) * 2 * math.pi / n
    r = DIAMETER / 2
    return view.project(np.column_stack([centre[0] + r * np.cos(a), centre[1] + r * np.sin(a), np.zeros(n)]))


def pixel_mm2(view: View, px: np.ndarray) -> np.ndarray:
    """True area of a pixel at photo points (n, 2), by differences of followed rays."""
    a, b = (view.intersect(px + d) - view.intersect(px - d) for d in (np.array([0.5, 0]), np.array([0, 0.5])))
    return np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def scale_of(rim: np.ndarray, **more: object) -> Scale:
    return scale_from_coin(Seen(SHAPE, FOCAL, id="p"), DIAMETER, rim, **more)  # type: ignore[arg-type]


def test_turned_and_flipped_photos_agree() -> None:
    rim = rim_of(view_of(15.0))
    scale = scale_of(rim)
    flipped = scale_of(np.column_stack([1599 - rim[:, 0], rim[:, 1]]))
    other_start = scale_of(np.roll(rim, 3, axis=0))
    assert flipped.px_per_mm == pytest.approx(scale.px_per_mm, rel=5e-3)
    assert other_start.px_per_mm == pytest.approx(scale.px_per_mm, rel=1e-3)
    assert flipped.relative_uncertainty() == pytest.approx(scale.relative_uncertainty(), rel=0.25)


def test_twice_the_picture_is_twice_the_scale() -> None:
    rim = rim_of(view_of(12.0))
    one = scale_of(rim, marking_sd_px=0.5)
    two = scale_from_coin(Seen((2400, 3200, 3), 2 * FOCAL, id="p"), DIAMETER, 2 * rim + 0.5, marking_sd_px=1.0)
    assert two.px_per_mm == pytest.approx(2 * one.px_per_mm, rel=2e-3)


def test_tilt_that_shows_in_the_ellipse_is_told_and_tilt_that_does_not_is_in_the_range() -> None:
    steep, level = scale_of(rim_of(view_of(30.0)), marking_sd_px=0.2), scale_of(rim_of(view_of(0.0)))
    assert "30°" in steep.notices[0].message or "29°" in steep.notices[0].message
    # marked to a pixel, a coin of 130 px looks as round from ten degrees off
    found = float(level.notices[0].message.split("up to ")[1].split("°")[0])
    assert 5 <= found <= 20


def test_more_and_better_points_narrow_the_range() -> None:
    view = view_of(10.0)
    near = view.project(np.array([[15.0, -8.0, 0.0]]))
    rough = scale_of(rim_of(view, 6), marking_sd_px=2.0, where_px=near).relative_uncertainty()
    usual = scale_of(rim_of(view, 12), where_px=near).relative_uncertainty()
    fine = scale_of(rim_of(view, 24), marking_sd_px=0.3, where_px=near).relative_uncertainty()
    assert rough > usual > fine


def test_far_from_the_coin_the_range_is_wider() -> None:
    view = view_of(12.0)
    rim = rim_of(view)
    near = scale_of(rim, where_px=rim).relative_uncertainty()
    far = scale_of(rim, where_px=np.array([[60.0, 60.0], [90.0, 1100.0]])).relative_uncertainty()
    assert far > 1.5 * near


def test_a_thick_coin_under_a_thin_board_is_corrected() -> None:
    rim = rim_of(view_of(5.0))
    level = scale_of(rim, where_px=rim)
    lower = scale_of(rim, where_px=rim, rise_mm=rise_over_coin(Distribution("constant", (0.5,)), 2.5))
    factors = [np.median(s.area_inputs[-1].draws(1000)) for s in (level, lower)]
    assert factors[0] == 1.0
    # the board's face lies 2 mm further from a camera at about 200 mm: a pixel sees 2 % more of it
    assert factors[1] == pytest.approx((202 / 200) ** 2, rel=2e-3)


def test_points_that_are_no_rim_are_refused_each_with_its_reason() -> None:
    rim = rim_of(view_of(10.0))
    for points, error, code in (
        (rim[:4], UsageError, "rim-points-few"),
        (rim[:5], UsageError, "rim-one-sided"),
        (rim + np.array([5000.0, 0.0]), UsageError, "point-outside"),
        (800 + (rim - rim.mean(axis=0)) / 20, ScaleError, "coin-too-small"),
        (np.array([[700, 500], [900, 500], [900, 700], [700, 700], [800, 600], [640, 610.0]]), ScaleError, "rim-no-"),
    ):
        with pytest.raises(error) as caught:
            scale_of(points)
        assert caught.value.code.startswith(code)  # type: ignore[attr-defined]
    with pytest.raises(UsageError):
        scale_from_coin(Seen(SHAPE, id="p"), 0.0, rim)
