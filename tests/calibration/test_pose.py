"""Camera and pose from points: by hand, by finite differences, and by repeating a photo with other noise."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import cv2
import numpy as np
import pytest

from calibration.camera import CameraPrior, Lens, camera_prior
from calibration.plane import PosedPlane
from calibration.pose import CurledSheet, PoseFit, _minimise, _noise, _plane, _project, fit_pose

SHAPE = (1200, 1600)
PRIOR = camera_prior(SHAPE, 1400.0)
GRID = np.stack(np.meshgrid(np.linspace(0, 150, 7), np.linspace(0, 100, 5)), axis=-1).reshape(-1, 2)
PLACES = np.array([[300.0, 300.0], [800.0, 600.0], [1300.0, 900.0]])


def camera(tilt_deg: float, lens: Lens | None = None) -> PosedPlane:
    """A camera 300 mm over the sheet's middle, tilted about a slanting axis."""
    axis = np.radians(tilt_deg) * np.array([np.cos(0.7), np.sin(0.7), 0.0])
    rotation = cv2.Rodrigues(axis + np.array([0.0, 0.0, 0.1]))[0]
    translation = np.array([2.0, -3.0, 300.0]) - rotation @ np.array([75.0, 50.0, 0.0])
    return PosedPlane(lens or Lens(1400.0, 799.5, 599.5, 0.01, -0.002), rotation, translation)


def noisy(plane: PosedPlane, sd: float, rng: np.random.Generator, points: np.ndarray = GRID) -> np.ndarray:
    return plane.to_px(points) + sd * rng.standard_normal(points.shape)


# --- the sheet


def test_a_sheet_by_hand() -> None:
    """Corners of a square of 20 mm: their middle, 14.14 mm away from each, and curls of mean zero over that reach."""
    square = np.array([[10.0, 0.0], [30.0, 0.0], [30.0, 20.0], [10.0, 20.0]])
    sheet = CurledSheet.of(square, 0.01)
    assert sheet.origin_mm == pytest.approx([20.0, 10.0])
    np.testing.assert_allclose(sheet.places_mm, square - [20.0, 10.0])
    assert sheet.curl_sd_mm == pytest.approx(0.01 * sqrt(200))
    # u² and v² are ½ at every corner, so that only the twist 2 u v is left
    np.testing.assert_allclose(sheet.curls, [[0, 1, 0], [0, -1, 0], [0, 1, 0], [0, -1, 0]], atol=1e-12)
    part = sheet.part(np.array([True, False, True, True]))
    np.testing.assert_allclose(part.places_mm, sheet.places_mm[[0, 2, 3]])
    np.testing.assert_allclose(part.curls, sheet.curls[[0, 2, 3]])
    assert part.curl_sd_mm == sheet.curl_sd_mm


def test_a_row_of_points_curls_with_the_square_of_the_distance() -> None:
    sheet = CurledSheet.of(np.column_stack([np.linspace(-4, 4, 5), np.zeros(5)]), 0.0)
    np.testing.assert_allclose(sheet.curls[:, 0], np.array([1, 0.25, 0, 0.25, 1]) - 0.5, atol=1e-12)
    assert sheet.curl_sd_mm == 1e-6  # a stiff one


# --- the fit itself


def parameters(
    plane: PosedPlane, sheet: CurledSheet, curl: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> np.ndarray:
    lens = plane.lens
    middle = plane.rotation[:, :2] @ sheet.origin_mm + plane.translation
    return np.concatenate(
        [
            cv2.Rodrigues(plane.rotation)[0].ravel(),
            middle,
            [np.log(lens.focal_px), lens.cx, lens.cy, lens.k1, lens.k2, *curl],
        ]
    )


def test_points_are_projected_as_a_posed_plane_shows_them() -> None:
    plane, sheet = camera(20.0), CurledSheet.of(GRID, 0.01)
    np.testing.assert_allclose(_project(parameters(plane, sheet), sheet)[0], plane.to_px(GRID), atol=1e-8)
    back = _plane(parameters(plane, sheet), sheet)
    np.testing.assert_allclose(back.to_mm(PLACES), plane.to_mm(PLACES), atol=1e-8)
    np.testing.assert_allclose(back.pixel_area_mm2(PLACES), plane.pixel_area_mm2(PLACES), rtol=1e-10)


def test_slopes_of_the_projection_are_those_of_small_steps() -> None:
    plane, sheet = camera(20.0), CurledSheet.of(GRID, 0.01)
    theta = parameters(plane, sheet, (2.0, -1.0, 1.5))
    slopes = _project(theta, sheet)[1]
    for n, step in enumerate([1e-6] * 3 + [1e-4] * 3 + [1e-6, 1e-3, 1e-3, 1e-6, 1e-6] + [1e-4] * 3):
        ahead, behind = (_project(theta + s * step * np.eye(14)[n], sheet)[0].ravel() for s in (1, -1))
        np.testing.assert_allclose(slopes[:, n], (ahead - behind) / (2 * step), rtol=1e-4, atol=2e-3, err_msg=str(n))


def test_a_sheet_lies_on_its_lowest_point() -> None:
    """Curled by 2 u²: the plane at height 0 touches the points that lie deepest, away from the camera."""
    sheet = CurledSheet.of(GRID, 0.01)
    flat = camera(0.0)
    theta = parameters(flat, sheet, (2.0, 0.0, 0.0))
    plane = _plane(theta, sheet)
    depth = 2.0 * sheet.curls[:, 0]
    assert plane.sheet_distance_mm == pytest.approx(flat.sheet_distance_mm + depth.max(), abs=1e-9)
    np.testing.assert_allclose(plane.rotation, flat.rotation, atol=1e-12)


@pytest.mark.parametrize("tilt", [0.0, 12.0, 30.0])
def test_exact_points_give_the_camera_back(tilt: float) -> None:
    plane = camera(tilt)
    fit = fit_pose(GRID, plane.to_px(GRID), replace(PRIOR, lens=plane.lens), sd_px=0.1)
    np.testing.assert_allclose(fit.residual_px, 0, atol=1e-4)
    assert fit.used.all()
    assert fit.sd_px == 0.1
    assert fit.rms_px < 1e-4
    assert fit.curl_mm < 1e-3
    np.testing.assert_allclose(fit.plane.to_mm(PLACES), plane.to_mm(PLACES), atol=1e-3)
    np.testing.assert_allclose(fit.plane.pixel_area_mm2(PLACES), plane.pixel_area_mm2(PLACES), rtol=1e-5)


def test_the_best_explanation_has_no_slope() -> None:
    """At the least of the sum of squares, observations and prior together, no small step makes it less."""
    plane, rng = camera(18.0), np.random.default_rng(1)
    seen = noisy(plane, 0.5, rng)
    fit = fit_pose(GRID, seen, PRIOR, sd_px=0.5, curl_share=0.005)
    lens = PRIOR.lens

    def misfit(theta: np.ndarray) -> float:
        miss = (_project(theta, fit.sheet)[0] - seen) / 0.5
        known = theta[6:] - [np.log(lens.focal_px), lens.cx, lens.cy, lens.k1, lens.k2, 0, 0, 0]
        widths = [PRIOR.focal_sd_log, PRIOR.centre_sd_px, PRIOR.centre_sd_px, PRIOR.k1_sd, PRIOR.k2_sd]
        return float(np.sum(miss**2) + np.sum((known / (widths + [fit.sheet.curl_sd_mm] * 3)) ** 2))

    least = misfit(fit.parameters)
    sds = np.sqrt(np.diag(fit.covariance))
    for n in range(14):
        step = 0.3 * sds[n] * np.eye(14)[n]
        ahead, behind = misfit(fit.parameters + step), misfit(fit.parameters - step)
        assert ahead > least
        assert behind > least
        # the bowl's middle lies within a few hundredths of a standard deviation
        assert abs(ahead - behind) < 0.15 * (ahead + behind - 2 * least)
    # its inverse covariance is the bowl's curvature, here along a direction that mixes all parameters
    direction = np.linalg.cholesky(fit.covariance) @ np.ones(14) / sqrt(14)
    rise = misfit(fit.parameters + direction) + misfit(fit.parameters - direction) - 2 * least
    assert rise / 2 == pytest.approx(1.0, rel=0.05)


def test_what_the_points_do_not_tell_keeps_its_prior_width() -> None:
    """A small sheet square on in the middle: it says nothing of the lens, and little of the focal length."""
    plane = camera(0.0)
    near = GRID * 0.1 + 70.0
    fit = fit_pose(near, plane.to_px(near), PRIOR, sd_px=0.5)
    sds = np.sqrt(np.diag(fit.covariance))
    assert sds[6] == pytest.approx(PRIOR.focal_sd_log, rel=0.05)
    assert sds[7:9] == pytest.approx([PRIOR.centre_sd_px] * 2, rel=0.05)
    assert sds[9:11] == pytest.approx([PRIOR.k1_sd, PRIOR.k2_sd], rel=0.05)
    assert sds[11:] == pytest.approx([1e-6] * 3, rel=0.05)


def test_the_error_of_area_is_what_repeated_photos_show() -> None:
    """Cameras drawn from the prior, points with noise: log area misses by as much as the fit says, at any height."""
    rng = np.random.default_rng(7)
    scores = []
    for _ in range(60):
        plane = camera(rng.uniform(0, 25), PRIOR.drawn(rng))
        fit = fit_pose(GRID[::3], noisy(plane, 0.6, rng, GRID[::3]), PRIOR, sd_px=0.6)
        for height in (0.0, 8.0):
            true, found = (p.at_height(height).pixel_area_mm2(PLACES) for p in (plane, fit.plane))
            scores.append(np.log(found / true) / fit.log_area_sd(PLACES, height))
    assert np.sqrt(np.mean(np.square(scores))) == pytest.approx(1.0, abs=0.2)
    assert fit.log_area_sd(PLACES, 8.0, 1.5) == pytest.approx(1.5 * fit.log_area_sd(PLACES, 8.0))


@pytest.mark.parametrize(("sd", "floor"), [(0.3, 0.0), (1.2, 0.0), (0.05, 0.4)])
def test_the_noise_of_the_points_is_found_but_never_below_the_floor(sd: float, floor: float) -> None:
    many = np.stack(np.meshgrid(np.linspace(0, 150, 20), np.linspace(0, 100, 14)), axis=-1).reshape(-1, 2)
    seen = noisy(camera(15.0), sd, np.random.default_rng(2), many)
    fit = fit_pose(many, seen, PRIOR, sd_floor_px=floor)
    assert fit.sd_px == pytest.approx(max(sd, floor), rel=0.06)
    # a distance has two coordinates
    assert fit.rms_px == pytest.approx(sd * sqrt(2), rel=0.06)


def test_points_are_as_uncertain_as_they_say() -> None:
    """Half of the points ten times rougher: the fit leans on the others, and finds their noise."""
    many = np.stack(np.meshgrid(np.linspace(0, 150, 20), np.linspace(0, 100, 14)), axis=-1).reshape(-1, 2)
    rough = np.where(np.arange(len(many)) % 2, 10.0, 1.0)
    rng = np.random.default_rng(4)
    plane = camera(15.0)
    seen = plane.to_px(many) + 0.3 * rough[:, None] * rng.standard_normal(many.shape)
    told, untold = (fit_pose(many, seen, PRIOR, relative_sd=r) for r in (rough, None))
    assert told.sd_px == pytest.approx(0.3, rel=0.1)
    miss = [
        np.abs(np.log(f.plane.pixel_area_mm2(PLACES) / plane.pixel_area_mm2(PLACES))).max() for f in (told, untold)
    ]
    assert miss[0] < miss[1]
    assert untold.sd_px > 3 * told.sd_px


def test_a_point_that_misses_is_dropped_and_no_other() -> None:
    rng = np.random.default_rng(3)
    seen = noisy(camera(10.0), 0.2, rng)
    seen[11] += [9.0, 0.0]
    fit = fit_pose(GRID, seen, PRIOR, outlier_sds=6.0)
    assert np.flatnonzero(~fit.used).tolist() == [11]
    assert fit.sd_px == pytest.approx(0.2, rel=0.35)
    assert np.hypot(*fit.residual_px[11]) == pytest.approx(9.0, abs=0.7)
    assert fit.rms_px < 0.5
    everything = fit_pose(GRID, seen, PRIOR)
    assert everything.used.all()
    assert everything.rms_px > 1.0


def test_four_points_are_enough_and_fewer_are_not() -> None:
    plane = camera(10.0)
    corners = GRID[[0, 6, 34, 28]]
    assert fit_pose(corners, plane.to_px(corners), PRIOR, sd_px=0.5).used.sum() == 4
    five = GRID[[0, 6, 34, 28, 17]]
    seen = noisy(plane, 3.0, np.random.default_rng(1), five)
    with pytest.raises(ValueError, match="fewer than four"):
        fit_pose(five, seen, PRIOR, sd_px=0.1, outlier_sds=0.5)


def test_a_focal_length_that_nobody_said_is_looked_for() -> None:
    """Tilted points at half and at twice the usual focal length: it comes back where EXIF is silent."""
    prior = camera_prior(SHAPE)
    for focal in (0.65 * prior.lens.focal_px, prior.lens.focal_px, 1.7 * prior.lens.focal_px):
        plane = camera(32.0, Lens(focal, 799.5, 599.5))
        wide = replace(prior, focal_sd_log=1.0)
        fit = fit_pose(GRID, plane.to_px(GRID), wide, sd_px=0.2)
        assert fit.plane.lens.focal_px == pytest.approx(focal, rel=0.02)


def test_a_fit_begun_from_another_ends_where_a_fresh_one_does() -> None:
    seen = noisy(camera(10.0), 0.3, np.random.default_rng(5))
    first = fit_pose(GRID, seen, PRIOR, sd_px=0.3)
    again = fit_pose(GRID, seen, PRIOR, sd_px=0.3, start=first)
    np.testing.assert_allclose(again.plane.pixel_area_mm2(PLACES), first.plane.pixel_area_mm2(PLACES), rtol=1e-6)


# --- curl


def curled(mm: float) -> tuple[PosedPlane, np.ndarray]:
    """A camera, and where it sees the grid on a sheet that is bent along x like a gutter, ``mm`` deep."""
    plane = camera(15.0, PRIOR.lens)
    sheet = CurledSheet.of(GRID, 0.01)
    depth = sheet.curls[:, 0] * mm / np.ptp(sheet.curls[:, 0])
    camera_axes = np.column_stack([GRID, depth]) @ plane.rotation.T + plane.translation
    return plane, plane.lens.to_px(camera_axes[:, :2] / camera_axes[:, 2:])


def test_a_curled_sheet_is_seen_and_a_flat_one_is_not() -> None:
    rng = np.random.default_rng(6)
    fits: list[PoseFit] = []
    for depth in (0.0, 4.0):
        _, seen = curled(depth)
        fits.append(fit_pose(GRID, seen + 0.1 * rng.standard_normal(seen.shape), PRIOR, sd_px=0.1, curl_share=0.03))
    flat, bent = fits
    assert bent.curl_mm == pytest.approx(4.0, rel=0.15)
    assert flat.curl_mm < 1.0
    # three coefficients: a chi-squared of three degrees, 16.3 at 1 in 1000
    assert flat.curl_chi2 < 16.3 < 100 < bent.curl_chi2


def test_chi_squared_of_a_curl_by_hand() -> None:
    flat = fit_pose(GRID, camera(15.0).to_px(GRID), PRIOR, sd_px=0.1, curl_share=0.01)
    made = replace(
        flat,
        parameters=np.concatenate([np.zeros(11), [2.0, 3.0, -1.0]]),
        covariance=np.diag([1.0] * 11 + [4.0, 9.0, 0.25]),
    )
    assert made.curl_chi2 == pytest.approx(1 + 1 + 4)
    shape = 2 * flat.sheet.curls[:, 0] + 3 * flat.sheet.curls[:, 1] - flat.sheet.curls[:, 2]
    assert made.curl_mm == pytest.approx(shape.max() - shape.min())


# --- noise


def test_noise_of_normal_residuals_is_their_standard_deviation() -> None:
    rng = np.random.default_rng(8)
    found = [_noise(0.7 * rng.standard_normal((200, 2)) * sqrt(392 / 400)) for _ in range(40)]
    assert np.mean(found) == pytest.approx(0.7, rel=0.03)


def test_noise_makes_up_for_what_was_fitted_and_does_not_follow_a_few_that_miss() -> None:
    ones = np.ones((10, 2))
    # 20 coordinates, 8 spent: rms sqrt(20 / 12), less than 1.2 × 1.4826 × that
    assert _noise(ones) == pytest.approx(sqrt(20 / 12))
    # five points hold no more than two degrees
    assert _noise(np.ones((4, 2))) == pytest.approx(sqrt(8 / 2))
    wild = np.ones((10, 2))
    wild[0] = 1000.0
    assert _noise(wild) == pytest.approx(1.2 * 1.4826 * sqrt(20 / 12))
    # where most points are exact, the others still count
    exact = np.zeros((10, 2))
    exact[0] = 3.0
    assert _noise(exact) == pytest.approx(sqrt(18 / 12))


def test_half_the_sum_of_squares_is_what_a_search_returns() -> None:
    plane, sheet = camera(10.0, PRIOR.lens), CurledSheet.of(GRID, 0.0)
    seen = plane.to_px(GRID) + np.array([2.0, 0.0]) * (np.arange(len(GRID)) % 2)[:, None]
    theta, cost, normal = _minimise(parameters(plane, sheet), sheet, seen, PRIOR, np.full(len(GRID), 0.5))
    miss = (_project(theta, sheet)[0] - seen) / 0.5
    known = (theta[6:11] - parameters(plane, sheet)[6:11]) / [
        PRIOR.focal_sd_log, PRIOR.centre_sd_px, PRIOR.centre_sd_px, PRIOR.k1_sd, PRIOR.k2_sd,
    ]  # fmt: skip
    assert cost == pytest.approx((np.sum(miss**2) + np.sum(known**2)) / 2, rel=1e-6)
    rows = _project(theta, sheet)[1] / 0.5
    assert normal[:6, :6] == pytest.approx(rows[:, :6].T @ rows[:, :6], rel=1e-6)


def test_the_prior_of_a_camera_that_is_known_is_narrow() -> None:
    assert isinstance(PRIOR, CameraPrior)
    assert PRIOR.focal_known
    assert not camera_prior(SHAPE).focal_known
