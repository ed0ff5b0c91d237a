"""Camera and pose from known points of a flat sheet.

All parameters (focal length, optical axis, radial distortion, pose, and the sheet's curl) are fitted at once by least
squares with prior knowledge as further observations, so that parameters that the points do not determine keep their
prior width: tilt that shows the focal length narrows it, a small sheet in a corner leaves distortion open. The
posterior's covariance (Laplace's approximation) then gives the accuracy at any place of the photo, including
extrapolation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.arrays import BoolArray, FloatArray
from calibration.camera import CameraPrior, Lens
from calibration.plane import PosedPlane

# order of the parameters: rotation vector, translation, log focal length, optical axis, distortion, curl
_N = 14
_FOCAL, _CX, _CY, _K1, _K2, _CURL = 6, 7, 8, 9, 10, 11
# a sheet that cannot curl still needs a prior of some width
_STIFF_MM = 1e-6
_MAX_STEPS = 60
_MAX_PASSES = 15
_FIRST_SD_PX = 1.0
_ROUGH_GAIN = 1e-5


@dataclass(frozen=True, eq=False)
class CurledSheet:
    """Points of a sheet, and the shapes into which it may curl.

    Attributes:
        origin_mm: the points' middle, float64 (2,).
        places_mm: the points from there, float64 (n, 2).
        curls: for each point, its depth for each of three curls of 1 mm (n, 3): quadratic, of mean zero.
        curl_sd_mm: standard deviation of the curl of sheets.
    """

    origin_mm: FloatArray
    places_mm: FloatArray
    curls: FloatArray
    curl_sd_mm: float

    @staticmethod
    def of(points_mm: FloatArray, curl_share: float) -> CurledSheet:
        """Sheet of points (n, 2), whose curl's standard deviation is a share of their reach from their middle."""
        origin = np.asarray(np.mean(points_mm, axis=0), dtype=np.float64)
        places = points_mm - origin
        reach = float(np.max(np.hypot(places[:, 0], places[:, 1])))
        u, v = (places / reach).T
        curls = np.column_stack([u * u, 2 * u * v, v * v])
        return CurledSheet(origin, places, curls - curls.mean(axis=0), max(curl_share * reach, _STIFF_MM))

    def part(self, used: BoolArray) -> CurledSheet:
        """The same sheet with some of its points."""
        return replace(self, places_mm=self.places_mm[used], curls=self.curls[used])


@dataclass(frozen=True, eq=False)
class PoseFit:
    """A fitted camera over a sheet.

    Attributes:
        plane: the surface under the sheet (height 0): parallel to its mean plane, through its lowest point.
        parameters: float64 (14,): rotation vector, translation of the points' middle, log focal, cx, cy, k1, k2, and
            the curl's three coefficients in mm.
        covariance: of ``parameters``, (14, 14).
        sheet: the points as the fit sees them.
        residual_px: float64 (n, 2), seen minus fitted, for all points given.
        used: bool (n,): points that were not dropped.
        sd_px: standard deviation of the points in each direction, given or found.
    """

    plane: PosedPlane
    parameters: FloatArray
    covariance: FloatArray
    sheet: CurledSheet
    residual_px: FloatArray
    used: BoolArray
    sd_px: float

    @property
    def curl_mm(self) -> float:
        """Height difference between the lowest and the highest point of the sheet, mm."""
        return float(np.ptp(self.sheet.curls @ self.parameters[_CURL:]))

    @property
    def curl_chi2(self) -> float:
        """Distance of the curl from zero, in squared standard deviations of its three coefficients together."""
        curl = self.parameters[_CURL:]
        return float(curl @ np.linalg.solve(self.covariance[_CURL:, _CURL:], curl))

    @property
    def rms_px(self) -> float:
        """Root mean square distance of the used points from their fitted places, px."""
        return float(np.sqrt(np.mean(np.sum(self.residual_px[self.used] ** 2, axis=1))))

    def log_area_sd(self, xy_px: FloatArray, height_mm: float, inflate: float = 1.0) -> FloatArray:
        """Standard deviation (n,) of the logarithm of the true pixel area at photo points (n, 2).

        Args:
            xy_px: the places.
            height_mm: of the plane above the sheet.
            inflate: factor on the standard deviation, if the points' errors are not independent.
        """
        values, vectors = np.linalg.eigh(self.covariance)
        variance = np.zeros(len(xy_px))
        for value, vector in zip(values, vectors.T, strict=True):
            if value <= 0:
                continue
            step = np.sqrt(value) * vector * 0.5
            ahead, behind = (
                np.log(_plane(self.parameters + s * step, self.sheet).at_height(height_mm).pixel_area_mm2(xy_px))
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
    curl_share: float = 0.0,
    start: PoseFit | None = None,
) -> PoseFit:
    """The camera over a flat sheet that best explains the places of its points in the photo.

    Args:
        points_mm: places on the sheet (n, 2), n ≥ 4, not on one line; y down as the camera sees the sheet.
        points_px: their places in the photo (n, 2).
        prior: of the camera.
        relative_sd: uncertainty of each point, as a multiple of ``sd_px`` (n,).
        sd_px: standard deviation of the points in each direction if known; otherwise the residuals give it.
        sd_floor_px: the least standard deviation that may be found.
        outlier_sds: points that miss by more standard deviations are dropped, one pass after another.
        start: an earlier fit of the same points to begin from.
        curl_share: curl of such sheets (standard deviation) over the points' reach from their middle.

    Raises:
        ValueError: fewer than four points remain, or no pose explains them.
    """
    sheet, seen = (
        CurledSheet.of(np.asarray(points_mm, dtype=np.float64), curl_share),
        np.asarray(points_px, dtype=np.float64),
    )
    relative = np.ones(len(seen)) if relative_sd is None else np.asarray(relative_sd, dtype=np.float64)
    used = np.ones(len(seen), dtype=bool)
    sd = sd_px if sd_px is not None else _FIRST_SD_PX
    theta = _best_start(sheet, seen, prior, sd * relative) if start is None else start.parameters
    for _ in range(_MAX_PASSES):
        theta, _, normal = _minimise(theta, sheet.part(used), seen[used], prior, sd * relative[used])
        residual = seen - _project(theta, sheet)[0]
        scaled = residual / relative[:, None]
        new_sd = sd if sd_px is not None else max(_noise(scaled[used]), sd_floor_px)
        new_used = np.hypot(scaled[:, 0], scaled[:, 1]) <= outlier_sds * new_sd
        if new_used.sum() < 4:
            raise ValueError("fewer than four points agree with a flat sheet")
        settled = bool(np.all(new_used == used)) and abs(new_sd - sd) < 0.02 * sd
        used, sd = new_used, new_sd
        if settled:
            break
    covariance = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    return PoseFit(_plane(theta, sheet), theta, covariance, sheet, residual, used, sd)


def _noise(residual: FloatArray) -> float:
    """Robust standard deviation of a coordinate, corrected for the parameters that were fitted to it."""
    n = residual.size
    freedom = max(n - 8, 2)  # eight parameters of a plane; the prior determines the rest
    rms = float(np.sqrt(np.sum(residual**2) / freedom))
    middle = 1.4826 * float(np.median(np.abs(residual))) * np.sqrt(n / freedom)
    return min(rms, 1.2 * middle) if middle > 0 else rms


def _best_start(sheet: CurledSheet, points_px: FloatArray, prior: CameraPrior, sd: FloatArray) -> FloatArray:
    best: tuple[float, FloatArray] | None = None
    lens = prior.lens
    objects = np.column_stack([sheet.places_mm, np.zeros(len(points_px))])
    for factor in (1.0,) if prior.focal_known else (1.0, 0.6, 1.8):
        focal = lens.focal_px * factor
        matrix = np.array([[focal, 0, lens.cx], [0, focal, lens.cy], [0, 0, 1]])
        try:
            found, rotations, translations, _ = cv2.solvePnPGeneric(
                objects, points_px.reshape(-1, 1, 2), matrix, None, flags=cv2.SOLVEPNP_IPPE
            )
        except cv2.error:
            continue
        for rotation, translation in zip(rotations[:found], translations[:found], strict=False):
            start = np.zeros(_N)
            start[:6] = np.concatenate([np.ravel(rotation), np.ravel(translation)])
            start[_FOCAL:_CURL] = np.log(focal), lens.cx, lens.cy, lens.k1, lens.k2
            if not np.all(np.isfinite(start)) or start[5] <= 0:
                continue
            theta, cost, _ = _minimise(start, sheet, points_px, prior, sd, gain_min=_ROUGH_GAIN)
            if np.all(np.isfinite(theta)) and (best is None or cost < best[0]):
                best = (cost, theta)
        if best is not None and best[0] <= len(points_px):
            break  # within a standard deviation of each point already
    if best is None:
        raise ValueError("no camera pose explains the points")
    return best[1]


def _project(theta: FloatArray, sheet: CurledSheet) -> tuple[FloatArray, FloatArray]:
    """Fitted places (n, 2) and their Jacobian (2n, 14)."""
    focal = float(np.exp(theta[_FOCAL]))
    matrix = np.array([[focal, 0, theta[_CX]], [0, focal, theta[_CY]], [0, 0, 1]])
    objects = np.column_stack([sheet.places_mm, sheet.curls @ theta[_CURL:]])
    distortion = np.array([theta[_K1], theta[_K2], 0.0, 0.0, 0.0])
    px, jacobian = cv2.projectPoints(objects, theta[:3], theta[3:6], matrix, distortion)
    # a point deeper in the sheet moves as if the sheet were shifted along its normal
    deeper = jacobian[:, 3:6] @ cv2.Rodrigues(theta[:3])[0][:, 2:]
    columns = [
        jacobian[:, :6],
        focal * (jacobian[:, 6:7] + jacobian[:, 7:8]),
        jacobian[:, 8:10],
        jacobian[:, 10:12],
        deeper * np.repeat(sheet.curls, 2, axis=0),
    ]
    return px.reshape(-1, 2), np.hstack(columns)


def _minimise(
    theta: FloatArray,
    sheet: CurledSheet,
    points_px: FloatArray,
    prior: CameraPrior,
    sd: FloatArray,
    gain_min: float = 1e-9,
) -> tuple[FloatArray, float, FloatArray]:
    """Levenberg–Marquardt: parameters, half the sum of squares, normal matrix."""
    lens, known = prior.lens, _N - _FOCAL
    centre = np.array([np.log(lens.focal_px), lens.cx, lens.cy, lens.k1, lens.k2, 0.0, 0.0, 0.0])
    widths = np.array(
        [prior.focal_sd_log, prior.centre_sd_px, prior.centre_sd_px, prior.k1_sd, prior.k2_sd]
        + [sheet.curl_sd_mm] * (_N - _CURL)
    )
    prior_rows = np.zeros((known, _N))
    prior_rows[np.arange(known), np.arange(_FOCAL, _N)] = 1 / widths
    weight = 1 / np.repeat(sd, 2)

    def system(t: FloatArray) -> tuple[FloatArray, FloatArray]:
        fitted, jacobian = _project(t, sheet)
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
            if gain < gain_min * (1 + cost):
                break
        else:
            damping *= 10
            if damping > 1e12:
                break
    return theta, cost, rows.T @ rows


def _plane(theta: FloatArray, sheet: CurledSheet) -> PosedPlane:
    rotation = np.asarray(cv2.Rodrigues(theta[:3])[0])
    lowest = float(np.max(sheet.curls @ theta[_CURL:]))
    translation = theta[3:6] - rotation[:, :2] @ sheet.origin_mm + rotation[:, 2] * lowest
    lens = Lens(float(np.exp(theta[_FOCAL])), *(float(v) for v in theta[_CX:_CURL]))
    return PosedPlane(lens, rotation, np.asarray(translation))
