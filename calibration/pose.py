"""Camera and pose from points of a flat sheet whose places are known.

All is fitted at once (focal length, optical axis, radial distortion, pose) by least squares with the prior of the
camera as further observations, so that what the points do not tell keeps its prior width: tilt that shows the focal
length narrows it, a small sheet in a corner leaves distortion open. The posterior's covariance (Laplace's
approximation) then says how well any place of the photo is measured, extrapolation included.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import CameraPrior, Lens
from calibration.plane import PosedPlane

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# order of the parameters: rotation vector, translation, log focal length, optical axis, distortion
_N = 11
_FOCAL, _CX, _CY, _K1, _K2 = 6, 7, 8, 9, 10
_MAX_STEPS = 60
_MAX_PASSES = 15
_FIRST_SD_PX = 1.0


@dataclass(frozen=True, eq=False)
class PoseFit:
    """A fitted camera over a sheet.

    Attributes:
        plane: the sheet's plane (height 0).
        parameters: float64 (11,): rotation vector, translation of the points' middle, log focal, cx, cy, k1, k2.
        covariance: of ``parameters``, (11, 11).
        origin_mm: the points' middle, which the translation belongs to, float64 (2,).
        residual_px: float64 (n, 2), seen minus fitted, for all points given.
        used: bool (n,): points that were not dropped.
        sd_px: standard deviation of the points in each direction, given or found.
    """

    plane: PosedPlane
    parameters: FloatArray
    covariance: FloatArray
    origin_mm: FloatArray
    residual_px: FloatArray
    used: BoolArray
    sd_px: float

    @property
    def rms_px(self) -> float:
        """Root mean square distance of the used points from their fitted places, px."""
        return float(np.sqrt(np.mean(np.sum(self.residual_px[self.used] ** 2, axis=1))))

    @property
    def rms_all_px(self) -> float:
        """The same over all points, the dropped ones too."""
        return float(np.sqrt(np.mean(np.sum(self.residual_px**2, axis=1))))

    def log_area_sd(self, xy_px: FloatArray, height_mm: float, inflate: float = 1.0) -> FloatArray:
        """Standard deviation (n,) of the logarithm of the true pixel area at photo points (n, 2).

        Args:
            xy_px: the places.
            height_mm: of the plane above the sheet.
            inflate: factor on the standard deviation, where the points' errors are not independent.
        """
        values, vectors = np.linalg.eigh(self.covariance)
        variance = np.zeros(len(xy_px))
        for value, vector in zip(values, vectors.T, strict=True):
            if value <= 0:
                continue
            step = np.sqrt(value) * vector * 0.5
            ahead, behind = (
                np.log(_plane(self.parameters + s * step, self.origin_mm).at_height(height_mm).pixel_area_mm2(xy_px))
                for s in (1, -1)
            )
            variance += (ahead - behind) ** 2
        return np.asarray(np.sqrt(variance) * inflate)


def fit_pose(
    points_mm: FloatArray,
    points_px: FloatArray,
    prior: CameraPrior,
    *,
    relative_sd: FloatArray | None = None,
    sd_px: float | None = None,
    sd_floor_px: float = 0.0,
    outlier_sds: float = np.inf,
) -> PoseFit:
    """The camera over a flat sheet that best explains where its points are seen.

    Args:
        points_mm: places on the sheet (n, 2), n ≥ 4, not on one line; y down as the camera sees the sheet.
        points_px: where the photo shows them (n, 2).
        prior: of the camera.
        relative_sd: how uncertain each point is, as a multiple of ``sd_px`` (n,).
        sd_px: standard deviation of the points in each direction where it is known; else the residuals tell.
        sd_floor_px: the least that may be found.
        outlier_sds: points that miss by more standard deviations are dropped, one pass after another.

    Raises:
        ValueError: fewer than four points remain, or no pose explains them.
    """
    origin = np.asarray(np.mean(points_mm, axis=0), dtype=np.float64)
    places, seen = points_mm - origin, np.asarray(points_px, dtype=np.float64)
    relative = np.ones(len(places)) if relative_sd is None else np.asarray(relative_sd, dtype=np.float64)
    used = np.ones(len(places), dtype=bool)
    sd = sd_px if sd_px is not None else _FIRST_SD_PX
    theta = _best_start(places, seen, prior, sd * relative)
    for _ in range(_MAX_PASSES):
        theta, _, normal = _minimise(theta, places[used], seen[used], prior, sd * relative[used])
        residual = seen - _project(theta, places)[0]
        scaled = residual / relative[:, None]
        new_sd = sd if sd_px is not None else max(_noise(scaled[used]), sd_floor_px)
        new_used = np.hypot(scaled[:, 0], scaled[:, 1]) <= outlier_sds * new_sd
        if new_used.sum() < 4:
            raise ValueError("fewer than four points agree with a flat sheet")
        settled = bool(np.all(new_used == used)) and abs(new_sd - sd) < 0.02 * sd
        used, sd = new_used, new_sd
        if settled:
            break
    return PoseFit(
        _plane(theta, origin), theta, np.asarray(np.linalg.inv(normal), dtype=np.float64), origin, residual, used, sd
    )


def _noise(residual: FloatArray) -> float:
    """Robust standard deviation of a coordinate, made up for the parameters that were fitted to it."""
    n = residual.size
    freedom = max(n - 8, 2)  # a plane's eight; the rest is held by the prior
    rms = float(np.sqrt(np.sum(residual**2) / freedom))
    middle = 1.4826 * float(np.median(np.abs(residual))) * np.sqrt(n / freedom)
    return min(rms, 1.2 * middle) if middle > 0 else rms


def _best_start(points_mm: FloatArray, points_px: FloatArray, prior: CameraPrior, sd: FloatArray) -> FloatArray:
    best: tuple[float, FloatArray] | None = None
    spread = (1.0,) if prior.focal_known else (1.0, 0.6, 1.8)
    for factor in spread:
        lens = prior.lens
        focal = lens.focal_px * factor
        matrix = np.array([[focal, 0, lens.cx], [0, focal, lens.cy], [0, 0, 1]])
        objects = np.column_stack([points_mm, np.zeros(len(points_mm))])
        try:
            found, rotations, translations, _ = cv2.solvePnPGeneric(
                objects, points_px.reshape(-1, 1, 2), matrix, None, flags=cv2.SOLVEPNP_IPPE
            )
        except cv2.error:
            continue
        for rotation, translation in zip(rotations[:found], translations[:found], strict=False):
            start = np.concatenate(
                [np.ravel(rotation), np.ravel(translation), [np.log(focal), lens.cx, lens.cy, lens.k1, lens.k2]]
            )
            if not np.all(np.isfinite(start)) or start[5] <= 0:
                continue
            theta, cost, _ = _minimise(start, points_mm, points_px, prior, sd)
            if np.all(np.isfinite(theta)) and (best is None or cost < best[0]):
                best = (cost, theta)
    if best is None:
        raise ValueError("no camera pose explains the points")
    return best[1]


def _project(theta: FloatArray, points_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Fitted places (n, 2) and their Jacobian (2n, 11)."""
    focal = float(np.exp(theta[_FOCAL]))
    matrix = np.array([[focal, 0, theta[_CX]], [0, focal, theta[_CY]], [0, 0, 1]])
    objects = np.column_stack([points_mm, np.zeros(len(points_mm))])
    distortion = np.array([theta[_K1], theta[_K2], 0.0, 0.0, 0.0])
    px, jacobian = cv2.projectPoints(objects, theta[:3], theta[3:6], matrix, distortion)
    columns = [
        jacobian[:, :6],
        focal * (jacobian[:, 6:7] + jacobian[:, 7:8]),
        jacobian[:, 8:10],
        jacobian[:, 10:12],
    ]
    return px.reshape(-1, 2), np.hstack(columns)


def _minimise(
    theta: FloatArray, points_mm: FloatArray, points_px: FloatArray, prior: CameraPrior, sd: FloatArray
) -> tuple[FloatArray, float, FloatArray]:
    """Levenberg–Marquardt: parameters, half the sum of squares, normal matrix."""
    centre = np.array([np.log(prior.lens.focal_px), prior.lens.cx, prior.lens.cy, prior.lens.k1, prior.lens.k2])
    widths = np.array(
        [prior.focal_sd_log, prior.centre_sd_px, prior.centre_sd_px, max(prior.k1_sd, 1e-12), max(prior.k2_sd, 1e-12)]
    )
    prior_rows = np.zeros((5, _N))
    prior_rows[np.arange(5), np.arange(_FOCAL, _N)] = 1 / widths

    weight = 1 / np.repeat(sd, 2)

    def system(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        fitted, jacobian = _project(t, points_mm)
        miss = np.concatenate([(fitted - points_px).ravel() * weight, (t[_FOCAL:] - centre) / widths])
        return miss, np.vstack([jacobian * weight[:, None], prior_rows])

    miss, rows = system(theta)
    cost, damping = 0.5 * float(miss @ miss), 1e-3
    for _ in range(_MAX_STEPS):
        normal, slope = rows.T @ rows, rows.T @ miss
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slope)
        trial = theta + step
        new_miss, new_rows = system(trial)
        new_cost = 0.5 * float(new_miss @ new_miss)
        if np.isfinite(new_cost) and new_cost <= cost and trial[5] > 0:
            gain = cost - new_cost
            theta, miss, rows, cost = trial, new_miss, new_rows, new_cost
            damping = max(damping / 10, 1e-12)
            if gain < 1e-9 * (1 + cost):
                break
        else:
            damping *= 10
            if damping > 1e12:
                break
    return theta, cost, rows.T @ rows


def _plane(theta: FloatArray, origin_mm: FloatArray) -> PosedPlane:
    rotation = cv2.Rodrigues(theta[:3])[0]
    translation = theta[3:6] - rotation[:, :2] @ origin_mm
    lens = Lens(float(np.exp(theta[_FOCAL])), *(float(v) for v in theta[_CX:]))
    return PosedPlane(lens, np.asarray(rotation), np.asarray(translation))
