"""Scale from several rectangles of known size that lie in one plane, each anywhere in it.

Their sides show the camera's tilt and distance: tilt, distance and focal length are fitted to the logarithms of the
sides, with knowledge of cameras and of how people hold them as a prior (damped Gauss-Newton steps). One rectangle is
enough, but the more of the photo they cover, the better the tilt is known.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.area_factors import fit_input
from calibration.arrays import FloatArray
from calibration.camera import CameraPrior, camera_prior
from calibration.errors import ScaleError
from calibration.inputs import Input
from calibration.plane import PosedPlane
from calibration.scale import Scale
from calibration.sourced import load_figures
from calibration.view import View, refuse_askew

_STEPS = 40
_STEP = 1e-5
_DRAWS = 40
_SEED = 17
_TILT_SD = math.radians(15.0)  # about either axis: people hold a phone roughly square on
_MISS_SDS = 4.0


@dataclass(frozen=True, eq=False)
class SeenRectangle:
    """A rectangle of known size in a photo.

    Attributes:
        sides_mm: its first and its second edge.
        corners_px: float64 (4, 2), going round.
        sd_share: standard deviation of the sides, as a share of them, in addition to that of the corners.
        sd_px: of its corners, in each direction.
    """

    sides_mm: tuple[float, float]
    corners_px: FloatArray
    sd_share: float
    sd_px: float


def scale_from_rectangles(view: View, rectangles: Sequence[SeenRectangle], told: Sequence[Input] = ()) -> Scale:
    """Scale from rectangles in the plane of the boards' faces.

    Args:
        view: of the photo.
        rectangles: one or more.
        told: factors on area that belong to the stated sizes, if these come from a scale.

    Raises:
        ScaleError: ``rectangles-contradict``: no tilt and distance give these sizes; or as ``refuse_askew``.
    """
    prior = camera_prior(view.shape, view.focal_px)
    start = np.array([0.0, 0.0, math.log(_distance(rectangles, prior)), 0.0])
    theta, covariance, chi2 = _fitted(start, rectangles, prior)
    if chi2 > _MISS_SDS**2:
        raise ScaleError(
            "rectangles-contradict",
            "The sizes of the boards that were seen elsewhere do not fit this photo.",
            "Check whether it shows the same boards, or give it a scale of its own.",
        )
    plane = _plane(theta, prior)
    refuse_askew(plane, view.shape)
    where = np.concatenate([r.corners_px for r in rectangles])
    rng = np.random.default_rng(_SEED)
    some = rng.multivariate_normal(theta, covariance, _DRAWS, method="cholesky")
    areas = np.array([np.log(_plane(t, prior).pixel_area_mm2(where)).mean() for t in some])
    sd = float(np.std(areas[np.isfinite(areas)]))
    offset = load_figures("scale_figures")["face_offset_sd"].value
    height = 2 * offset / plane.sheet_distance_mm
    middle = where.mean(axis=0)
    return Scale(
        method="rectangle",
        plane=plane,
        px_per_mm=float(1 / np.sqrt(plane.pixel_area_mm2(middle[None])[0])),
        area_inputs=(
            fit_input(view.id, math.hypot(sd, height), "places of boards that other photos show, lens and tilt"),
            *told,
        ),
        tilt_deg=plane.tilt_deg,
    )


def _distance(rectangles: Sequence[SeenRectangle], prior: CameraPrior) -> float:
    seen = [abs(float(cv2.contourArea(r.corners_px.astype(np.float32)))) for r in rectangles]
    known = [r.sides_mm[0] * r.sides_mm[1] for r in rectangles]
    return float(prior.lens.focal_px * math.sqrt(sum(known) / max(sum(seen), 1e-9)))


def _plane(theta: FloatArray, prior: CameraPrior) -> PosedPlane:
    """Tilt about the photo's axes, distance along the optical axis, focal length."""
    rotation = np.asarray(cv2.Rodrigues(np.array([theta[0], theta[1], 0.0]))[0], np.float64)
    lens = replace(prior.lens, focal_px=prior.lens.focal_px * math.exp(theta[3]))
    return PosedPlane(lens, rotation, np.array([0.0, 0.0, math.exp(theta[2])]))


def _residuals(theta: FloatArray, rectangles: Sequence[SeenRectangle], prior: CameraPrior) -> FloatArray:
    plane = _plane(theta, prior)
    found = [theta[0] / _TILT_SD, theta[1] / _TILT_SD, theta[3] / prior.focal_sd_log]
    for r in rectangles:
        mm = plane.to_mm(r.corners_px)
        if not np.isfinite(mm).all():
            return np.full(3 + 4 * len(rectangles), 1e3)
        edges = np.hypot(*(np.roll(mm, -1, axis=0) - mm).T)
        seen = np.hypot(*(np.roll(r.corners_px, -1, axis=0) - r.corners_px).T)
        known = np.array([r.sides_mm[0], r.sides_mm[1], r.sides_mm[0], r.sides_mm[1]])
        sd = np.hypot(r.sd_share, math.sqrt(2) * r.sd_px / np.maximum(seen, 1.0))
        # opposite sides share the errors of the stated size, so a side counts for half
        off = np.log(np.maximum(edges, 1e-9) / known) / (sd * math.sqrt(2))
        found.extend(_held(off).tolist())
    return np.array(found)


def _held(off: FloatArray) -> FloatArray:
    """Residuals whose large values grow like a logarithm (Cauchy's loss): a wrong match must not turn the plane."""
    c = 3.0
    return np.asarray(np.sign(off) * c * np.sqrt(np.log1p((off / c) ** 2)))


def _fitted(
    theta: FloatArray, rectangles: Sequence[SeenRectangle], prior: CameraPrior
) -> tuple[FloatArray, FloatArray, float]:
    """Parameters, their covariance, and the mean square of the sides' residuals."""
    damping = 1e-3
    now = _residuals(theta, rectangles, prior)
    for _ in range(_STEPS):
        slopes = _slopes(theta, rectangles, prior)
        normal = slopes.T @ slopes
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slopes.T @ now)
        again = _residuals(theta + step, rectangles, prior)
        if again @ again < now @ now:
            theta, now, damping = theta + step, again, damping / 5
            if float(np.abs(step).max()) < 1e-7:
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    slopes = _slopes(theta, rectangles, prior)
    spread = float(np.mean(now[3:] ** 2))
    covariance = np.linalg.inv(slopes.T @ slopes + 1e-12 * np.eye(4)) * max(spread, 1.0)
    return theta, np.asarray(covariance, np.float64), spread


def _slopes(theta: FloatArray, rectangles: Sequence[SeenRectangle], prior: CameraPrior) -> FloatArray:
    columns = []
    for n in range(len(theta)):
        step = np.zeros(len(theta))
        step[n] = _STEP
        ahead, behind = (_residuals(theta + s * step, rectangles, prior) for s in (1, -1))
        columns.append((ahead - behind) / (2 * _STEP))
    return np.column_stack(columns)
