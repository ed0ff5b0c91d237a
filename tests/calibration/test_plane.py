"""The map from photo to face plane, against finite differences, exact relations and rendered shapes."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calibration.camera import Lens, camera_prior
from calibration.plane import PosedPlane, ResizedPlane, UniformPlane
from tests.drawn_sheets import View, coverage

POSES = st.builds(
    View,
    width=st.just(1600),
    height=st.just(1200),
    focal_px=st.floats(900, 3000),
    tilt_deg=st.floats(0, 28),
    turn_deg=st.floats(0, 360),
    roll_deg=st.floats(-180, 180),
    distance_mm=st.floats(120, 800),
    look_at_mm=st.tuples(st.floats(-50, 150), st.floats(-50, 150)),
    k1=st.floats(-0.06, 0.06),
    k2=st.floats(-0.01, 0.01),
)
PLACES = np.stack(np.meshgrid(np.linspace(0, 1599, 7), np.linspace(0, 1199, 5)), axis=-1).reshape(-1, 2)


def plane_of(view: View, height_mm: float = 0.0) -> PosedPlane:
    middle = (view.width - 1) / 2, (view.height - 1) / 2
    return PosedPlane(
        Lens(view.focal_px, *middle, view.k1, view.k2), view.rotation, view.translation, height_mm=height_mm
    )


@given(view=POSES, height=st.floats(0, 20))
@settings(max_examples=60, deadline=None)
def test_to_px_is_the_inverse_of_to_mm(view: View, height: float) -> None:
    plane = plane_of(view, height)
    np.testing.assert_allclose(plane.to_px(plane.to_mm(PLACES)), PLACES, atol=1e-7)


@given(view=POSES, height=st.floats(0, 20))
@settings(max_examples=60, deadline=None)
def test_to_mm_agrees_with_rays_followed_by_other_arithmetic(view: View, height: float) -> None:
    np.testing.assert_allclose(plane_of(view, height).to_mm(PLACES), view.intersect(PLACES, height), atol=1e-4)


@given(view=POSES, height=st.floats(0, 20))
@settings(max_examples=60, deadline=None)
def test_pixel_area_is_the_jacobian_of_to_mm(view: View, height: float) -> None:
    plane, step = plane_of(view, height), 1e-3
    right, below = np.array([step, 0]), np.array([0, step])
    across = (plane.to_mm(PLACES + right) - plane.to_mm(PLACES - right)) / (2 * step)
    down = (plane.to_mm(PLACES + below) - plane.to_mm(PLACES - below)) / (2 * step)
    jacobian = across[:, 0] * down[:, 1] - across[:, 1] * down[:, 0]
    np.testing.assert_allclose(plane.pixel_area_mm2(PLACES), jacobian, rtol=1e-6)


@given(view=POSES, low=st.floats(0, 5), rise=st.floats(0, 30))
@settings(max_examples=40, deadline=None)
def test_areas_in_parallel_planes_go_with_the_square_of_their_distance(view: View, low: float, rise: float) -> None:
    plane = plane_of(view, low)
    distance = plane.sheet_distance_mm
    ratio = plane.at_height(low + rise).pixel_area_mm2(PLACES) / plane.pixel_area_mm2(PLACES)
    np.testing.assert_allclose(ratio, ((distance - low - rise) / (distance - low)) ** 2, rtol=1e-9)


def test_places_beyond_the_horizon_have_no_area() -> None:
    view = View(1600, 1200, 900.0, 65.0, 0.0, 0.0, 300.0, (0.0, 0.0))
    area = plane_of(view).pixel_area_mm2(PLACES)
    # the plane tips away along the picture's columns: one end of them looks past the horizon
    assert np.isnan(area).any()
    assert (area[np.isfinite(area)] > 0).all()


@pytest.mark.parametrize("seed", range(12))
def test_discs_and_squares_of_known_area_at_random_pose(seed: int) -> None:
    """Area = Σ coverage × pixel area, within 0.05 % where the pose is known and the scale is 9 px/mm or more."""
    rng = np.random.default_rng(seed)
    view = View(
        width=500,
        height=400,
        focal_px=400.0,
        tilt_deg=rng.uniform(0, 25),
        turn_deg=rng.uniform(0, 360),
        roll_deg=rng.uniform(0, 360),
        distance_mm=rng.uniform(38, 42),
        look_at_mm=(0.0, 0.0),
        k1=rng.uniform(-0.05, 0.05),
        k2=rng.uniform(-0.01, 0.01),
    )
    height, side, angle = rng.uniform(0, 2), rng.uniform(5, 9), rng.uniform(0, np.pi)
    x0, y0 = rng.uniform(-4, 4, 2)

    def disc(mm: np.ndarray) -> np.ndarray:
        return np.hypot(mm[:, 0] - x0, mm[:, 1] - y0) < side / 2

    def square(mm: np.ndarray) -> np.ndarray:
        u = (mm[:, 0] - x0) * np.cos(angle) + (mm[:, 1] - y0) * np.sin(angle)
        v = (mm[:, 1] - y0) * np.cos(angle) - (mm[:, 0] - x0) * np.sin(angle)
        return (abs(u) < side / 2) & (abs(v) < side / 2)

    plane = plane_of(view, height)
    for shape, truth in ((disc, np.pi * side**2 / 4), (square, side**2)):
        share = coverage(view, shape, height, fine=10)
        y, x = np.nonzero(share)
        area = float(np.sum(share[y, x] * plane.pixel_area_mm2(np.column_stack([x, y]).astype(float))))
        assert area == pytest.approx(truth, rel=5e-4)


@given(scale=st.floats(0.5, 100))
def test_uniform_plane(scale: float) -> None:
    plane = UniformPlane(scale)
    np.testing.assert_allclose(plane.to_px(plane.to_mm(PLACES)), PLACES, atol=1e-9)
    np.testing.assert_allclose(plane.pixel_area_mm2(PLACES), 1 / scale**2)


@given(view=POSES, factor=st.floats(0.3, 2))
@settings(max_examples=40, deadline=None)
def test_a_resized_copy_shows_the_same_places(view: View, factor: float) -> None:
    plane = plane_of(view)
    copy = ResizedPlane(plane, factor)
    places = (PLACES + 0.5) * factor - 0.5  # counted from the picture's corner, places scale without a shift
    np.testing.assert_allclose(copy.to_mm(places), plane.to_mm(PLACES), atol=1e-6)
    np.testing.assert_allclose(copy.to_px(copy.to_mm(places)), places, atol=1e-6)
    np.testing.assert_allclose(copy.pixel_area_mm2(places) * factor**2, plane.pixel_area_mm2(PLACES), rtol=1e-9)


def test_lens_that_folds_the_picture_is_noticed() -> None:
    assert Lens(1000.0, 799.5, 599.5, 0.05).is_one_to_one((1200, 1600))
    assert not Lens(1000.0, 799.5, 599.5, -0.6).is_one_to_one((1200, 1600))


@pytest.mark.parametrize("focal", [float("nan"), float("inf"), 0.0, -5.0, 3.0])
def test_impossible_focal_length_is_not_believed(focal: float) -> None:
    assert camera_prior((1200, 1600), focal) == camera_prior((1200, 1600))


def test_focal_length_of_exif_narrows_the_prior() -> None:
    assert camera_prior((1200, 1600), 1300.0).focal_sd_log < camera_prior((1200, 1600)).focal_sd_log
