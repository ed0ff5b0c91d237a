"""A marked length or rectangle by hand: the width of each factor, what is just taken, and what is just refused."""

from __future__ import annotations

from math import hypot, radians, sqrt

import numpy as np
import pytest

from calibration.camera import Lens, camera_prior
from calibration.errors import ScaleError, UsageError
from calibration.inputs import Input
from calibration.known import _near, _places, _tilt_factors, _tilts, _turning, scale_from_length, scale_from_rectangle
from calibration.plane import PosedPlane
from calibration.scale import Scale
from calibration.sourced import load_figures
from calibration.view import View as Seen

SHAPE = (1200, 1600, 3)
FLAT = np.array([[100, 200], [1433.5, 200], [1433.5, 512.5], [100, 512.5]])  # 133.35 x 31.25 mm at 10 px/mm
SIDES = (133.35, 31.25)


def factors(scale: Scale) -> dict[str, Input]:
    return {i.name.partition(":")[0]: i for i in scale.area_inputs}


def width(i: Input) -> float:
    return i.distribution.parameters[1]


def length(
    mm: float = 100.0, end: tuple[float, float] = (1100.0, 200.0), *, focal_px: float | None = None, **more: object
) -> Scale:
    return scale_from_length(Seen(SHAPE, focal_px, "p"), mm, (100.0, 200.0), end, **more)  # type: ignore[arg-type]


# --- a length


def test_marking_and_stating_a_length_by_hand() -> None:
    """1000 px of 100 mm: both ends err by 1 px along it, so that it errs by √2 px, and area by twice the share."""
    found = factors(length())
    assert set(found) == {"scale-tilt", "scale-marking", "scale-stated", "face-height"}
    assert width(found["scale-marking"]) == pytest.approx(2 * sqrt(2) * 1.0 / 1000)
    assert width(found["scale-stated"]) == pytest.approx(2 * 0.15 / 100)
    own = factors(length(marking_sd_px=3.0, length_sd_mm=0.5))
    assert width(own["scale-marking"]) == pytest.approx(2 * sqrt(2) * 3.0 / 1000)
    assert width(own["scale-stated"]) == pytest.approx(2 * 0.5 / 100)
    assert all(i.name.endswith(":p") for i in found.values())
    # factors about one: neither makes an area larger on the whole
    assert [found[name].distribution.parameters[0] for name in ("scale-marking", "scale-stated")] == [1.0, 1.0]


def test_faces_off_the_marked_plane_are_nearer_or_farther_by_their_share_of_the_distance() -> None:
    """Focal length 1400 px over 10 px/mm is 140 mm away: 0.8 mm more or less is 1.14 % of area."""
    height = factors(length(focal_px=1400.0))["face-height"]
    draws = height.draws()
    assert np.median(draws) == pytest.approx(1.0, abs=1e-3)
    assert np.std(draws) == pytest.approx(2 * 0.8 / 140, rel=0.02)
    assert np.std(factors(length(50.0, focal_px=1400.0))["face-height"].draws()) == pytest.approx(
        2 * 0.8 / 70, rel=0.02
    )


def test_the_shortest_and_the_longest_length() -> None:
    assert length(2.0, (120.0, 200.0)).px_per_mm == 10.0
    with pytest.raises(ScaleError) as caught:
        length(2.0, (119.5, 200.0))
    assert caught.value.code == "length-too-short"
    assert length(10_000.0).px_per_mm == 0.1
    assert length(0.5).px_per_mm == 2000.0
    for wrong in (10_001.0, 0.0):
        with pytest.raises(UsageError) as refused:
            length(wrong)
        assert refused.value.code == "length-invalid"


def test_points_may_lie_two_pixels_outside_and_no_further() -> None:
    for inside in ((1601.5, 600.0), (-2.5, 600.0), (800.0, 1201.5), (800.0, -2.5)):
        assert length(100.0, inside)
    for outside in ((1601.6, 600.0), (-2.6, 600.0), (800.0, 1201.6), (800.0, -2.6)):
        with pytest.raises(UsageError) as caught:
            length(100.0, outside)
        assert caught.value.code == "point-outside"


@pytest.mark.parametrize("wrong", [0.0, -1.0, float("nan"), float("inf")])
def test_an_uncertainty_is_above_zero(wrong: float) -> None:
    for name in ("marking_sd_px", "length_sd_mm"):
        with pytest.raises(UsageError) as caught:
            length(**{name: wrong})
        assert caught.value.code == "uncertainty-invalid"


def test_tilts_of_hand_held_photos_follow_the_prior() -> None:
    """Two normal angles of 9 degrees each: a Rayleigh law of median 9 × √(2 ln 2) and mean square 2 × 81."""
    scale = radians(load_figures("scale_figures")["tilt_prior_scale"].value)
    tilts = _tilts()
    assert tilts.shape == (400,)
    assert np.median(tilts) == pytest.approx(scale * sqrt(2 * np.log(2)), rel=1e-3)
    assert np.mean(tilts**2) == pytest.approx(2 * scale**2, rel=0.01)
    assert (np.diff(tilts) >= 0).all()
    assert tilts.max() < radians(45)
    (told,) = length().notices
    assert f"{np.degrees(scale * sqrt(-2 * np.log(0.05))):.0f}" in told.message


def test_without_a_tilt_the_scale_is_the_same_everywhere() -> None:
    """Perfect lens, square on: the factor is one wherever the area lies."""
    prior = camera_prior(SHAPE, 1400.0)
    still = type(prior)(Lens(1400.0, 799.5, 599.5), 0.0, 0.0, 0.0, 0.0, focal_known=True)
    ends = np.array([[100.0, 200.0], [1100.0, 200.0]])
    places = np.random.default_rng(1).uniform(0, 1100, (5, 3, 2))
    np.testing.assert_allclose(_tilt_factors(places, ends, 1000.0, still, np.zeros(5)), 1.0, rtol=1e-12)


def test_a_tilted_board_by_hand() -> None:
    """A row right on the marked length, at its middle: what the tilt does to it is what the plane's own areas say."""
    prior = camera_prior(SHAPE, 1400.0)
    still = type(prior)(Lens(1400.0, 799.5, 599.5), 0.0, 0.0, 0.0, 0.0, focal_known=True)
    ends = np.array([[500.0, 599.5], [1099.0, 599.5]])
    middle = np.full((200, 1, 2), [799.5, 599.5])
    found = _tilt_factors(middle, ends, 599.0, still, np.full(200, 0.3))
    # seen along the tilt's axis: only widths shrink, by the cosine; across it the length itself is foreshortened
    half = 299.5 / 1400
    along = 1 / np.cos(0.3)
    across = (np.cos(0.3) ** 2 - (half * np.sin(0.3)) ** 2) ** 2 / np.cos(0.3) ** 3
    assert found.max() == pytest.approx(along, rel=2e-3)
    assert found.min() == pytest.approx(across, rel=2e-3)
    plane = PosedPlane(still.lens, np.eye(3), np.array([0.0, 0.0, 1.0]))
    assert plane.pixel_area_mm2(middle[0])[0] == pytest.approx(1 / 1400**2)


def test_places_beyond_a_horizon_are_left_out() -> None:
    prior = camera_prior(SHAPE, 1400.0)
    still = type(prior)(Lens(1400.0, 799.5, 599.5), 0.0, 0.0, 0.0, 0.0, focal_known=True)
    ends = np.array([[700.0, 599.5], [900.0, 599.5]])
    far = np.full((50, 1, 2), [799.5, 0.0])
    found = _tilt_factors(far, ends, 200.0, still, np.full(50, 1.3))
    assert 0 < len(found) < 50
    assert np.isfinite(found).all()


def test_where_the_area_lies_is_taken_as_told_or_scattered_about_the_length() -> None:
    ends = np.array([[400.0, 600.0], [1200.0, 600.0]])
    told = np.column_stack([np.linspace(0, 999, 1000), np.full(1000, 5.0)])
    places = _places(SHAPE, ends, told)
    assert places.shape == (400, 40, 2)
    np.testing.assert_allclose(places[0], places[399])
    assert (places[0][0].tolist(), places[0][-1].tolist()) == ([0.0, 5.0], [999.0, 5.0])
    few = told[:40]
    np.testing.assert_allclose(_places(SHAPE, ends, few)[7], few)
    for nothing in (None, told[:0]):
        spread = _places(SHAPE, ends, nothing)
        assert spread.shape == (400, 1, 2)
        # a quarter of the length to every side
        assert spread.reshape(-1, 2).mean(axis=0) == pytest.approx([800.0, 600.0], abs=35)
        assert spread.reshape(-1, 2).std(axis=0) == pytest.approx([200.0, 200.0], rel=0.1)
        assert spread[..., 0].max() <= 1599
        assert spread[..., 1].max() <= 1199
        assert spread.min() >= 0
    edge = _places(SHAPE, np.array([[0.0, 0.0], [0.0, 1100.0]]), None)
    assert edge.min() == 0.0
    far = _places(SHAPE, np.array([[1599.0, 100.0], [1599.0, 1199.0]]), None)
    assert (far[..., 0].max(), far[..., 1].max()) == (1599.0, 1199.0)


# --- a rectangle


def test_a_flat_rectangle_by_hand() -> None:
    scale = scale_from_rectangle(Seen(SHAPE, 1400.0, id="p"), SIDES, FLAT)
    found = factors(scale)
    assert set(found) == {"scale-fit", "scale-stated", "face-height"}
    assert scale.px_per_mm == pytest.approx(10.0, rel=1e-4)
    # both sides err by 0.15 mm, each for itself
    assert width(found["scale-stated"]) == pytest.approx(0.15 * hypot(1 / SIDES[0], 1 / SIDES[1]))
    own = factors(scale_from_rectangle(Seen(SHAPE, id="p"), SIDES, FLAT, side_sd_mm=0.4))
    assert width(own["scale-stated"]) == pytest.approx(0.4 * hypot(1 / SIDES[0], 1 / SIDES[1]))
    assert np.std(found["face-height"].draws()) == pytest.approx(2 * 0.8 / 140, rel=0.05)
    # four corners that err by 1 px: the area about them is no better known than its edges
    assert 0.5 * 2 / 312.5 < width(found["scale-fit"]) < 0.1


def test_what_is_told_of_a_rectangle() -> None:
    assert scale_from_rectangle(Seen(SHAPE, 1400.0, id="p"), SIDES, FLAT).notices == ()
    told = [n.code for n in scale_from_rectangle(Seen(SHAPE, id="p"), SIDES, FLAT).notices]
    assert told == ["focal-estimated"]


@pytest.mark.parametrize(("tilt", "large"), [(19.0, False), (21.0, True)])
def test_a_large_tilt_is_told(tilt: float, large: bool) -> None:
    from tests.drawn_sheets import View

    view = View(1600, 1200, 1202.0, tilt, 40.0, 0.0, 190.0, (66.0, 16.0))
    w, h = SIDES
    corners = view.project(np.array([[0, 0, 0], [w, 0, 0], [w, h, 0], [0, h, 0]], dtype=float))
    scale = scale_from_rectangle(Seen(SHAPE, 1202.0, id="p"), SIDES, corners)
    assert [n.code for n in scale.notices] == (["tilt-large"] if large else [])


def test_the_least_rectangle() -> None:
    """Its longest edge spans 20 px, its shortest 10."""

    def rectangle(wide: float, high: float) -> Scale:
        corners = np.array([[100, 100], [100 + wide, 100], [100 + wide, 100 + high], [100, 100 + high]])
        return scale_from_rectangle(Seen(SHAPE, id="p"), (wide / 10, high / 10), corners)

    assert rectangle(20.0, 10.0).px_per_mm == pytest.approx(10.0, rel=1e-3)
    for wide, high in ((19.9, 10.0), (20.0, 9.9), (9.9, 30.0)):
        with pytest.raises(ScaleError) as caught:
            rectangle(wide, high)
        assert caught.value.code == "rectangle-too-small"


def test_corners_that_miss_a_rectangle_are_refused_beyond_the_marking_or_a_share_of_the_edge() -> None:
    """A side pushed along by 20 px of 312 is a slip of the hand and a tilt; by 150 px it is no rectangle."""
    pushed, skewed = FLAT.copy(), FLAT.copy()
    pushed[2:, 0] += 20.0
    skewed[2:, 0] += 150.0
    assert scale_from_rectangle(Seen(SHAPE, 1400.0, id="p"), SIDES, pushed).method == "rectangle"
    with pytest.raises(ScaleError) as caught:
        scale_from_rectangle(Seen(SHAPE, 1400.0, id="p"), SIDES, skewed)
    assert caught.value.code == "rectangle-contradicts"


def test_corners_go_round_either_way() -> None:
    assert _turning(FLAT) == 1
    assert _turning(FLAT[::-1]) == -1
    assert _turning(np.roll(FLAT, 1, axis=0)) == 1
    on_a_line = np.array([[100.0, 100.0], [300.0, 100.0], [500.0, 100.0], [300.0, 300.0]])
    for wrong in (FLAT[[0, 2, 1, 3]], FLAT[[0, 1, 1, 3]], FLAT[[3, 1, 1, 0]], on_a_line, on_a_line[::-1]):
        with pytest.raises(UsageError) as caught:
            _turning(wrong)
        assert caught.value.code == "corners-not-round"


def test_places_near_a_rectangle() -> None:
    """Within three quarters of its longest edge from its middle; a tiny one in a corner has its middle alone."""
    near = _near(SHAPE, np.array([800.0, 600.0]), 400.0)
    reach = np.hypot(*(near - [800.0, 600.0]).T)
    assert reach.max() <= 300.0
    assert len(near) == pytest.approx(np.pi * 300**2 / (1600 * 0.84 / 31 * 1200 * 0.84 / 23), rel=0.05)
    np.testing.assert_allclose(_near(SHAPE, np.array([3.0, 4.0]), 10.0), [[3.0, 4.0]])
