"""The pose of a printed sheet, and whether it lies flat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.area_factors import draws_of
from calibration.arrays import FloatArray
from calibration.camera import CameraPrior
from calibration.digits import in_digits
from calibration.distributions import Distribution
from calibration.errors import ScaleError
from calibration.pose import PoseFit, fit_pose
from calibration.sourced import load_figures, load_inputs
from calibration.view import refuse_askew

ADVICE_FLAT = "Tape the target flat to a board or the table, and take the photo again."

# a curl is real if chance alone gives three coefficients this far from zero once in a thousand times (χ², 3)
_CURL_CHI2 = 16.27
# a bump of height z seen at this angle off the normal moves by z · tan(angle)
_BUMP_SEEN_AT = float(np.tan(np.radians(15.0)))
# if a sheet bends, the errors of its corners count as those of this many independent corners
_INDEPENDENT_WHEN_BENT = 4


@dataclass(frozen=True, eq=False)
class SheetFit:
    """A fitted sheet.

    Attributes:
        pose: camera and plane; of a curled sheet if it is curled.
        residual_px: root mean square miss of a flat sheet.
        residual_mm: the same on the sheet.
        curl_mm: deviation of the sheet from flat, 0 if no curl can be detected.
        bent: whether the bend has to be reported to the user.
    """

    pose: PoseFit
    residual_px: float
    residual_mm: float
    curl_mm: float
    bent: bool

    @property
    def inflation(self) -> float:
        """Factor on standard deviations for errors of corners that are not independent."""
        return max(1.0, float(np.sqrt(self.pose.used.sum() / _INDEPENDENT_WHEN_BENT))) if self.bent else 1.0

    def elevation_mm(self) -> FloatArray:
        """Draws (n,) of the height of the fitted sheet above the surface under the boards.

        A curled sheet rises off the table by more than its curl: it may stand on its ends or lie at a slant. The
        residual's share has no direction.
        """
        rise = draws_of(load_inputs("scale_inputs")["sheet-rise"].distribution, stream=6)
        waves = draws_of(Distribution("normal", (0.0, 1.0)), stream=3)
        return np.asarray(self.curl_mm * rise + self.residual_mm / _BUMP_SEEN_AT * waves)


def fit_sheet(
    points_mm: FloatArray,
    points_px: FloatArray,
    relative_sd: FloatArray,
    prior: CameraPrior,
    shape: tuple[int, ...],
) -> SheetFit:
    """The pose of a sheet from its points; it is assumed to be flat unless they show a curl.

    Args:
        points_mm: places on the sheet (n, 2).
        points_px: their places in the photo (n, 2).
        relative_sd: uncertainty of each, relative to the others (n,).
        prior: of the camera.
        shape: of the photo, (height, width, ...).

    Raises:
        ScaleError: the points contradict a sheet, or it is seen too much askew.
    """
    flat = _fit(points_mm, points_px, relative_sd, prior)
    refuse_askew(flat.plane, shape)
    residual_mm = flat.rms_px / _px_per_mm(flat, points_mm)
    figures = load_figures("scale_figures")
    pose, curl = flat, 0.0
    if len(points_mm) >= figures["corners_to_see_curl"].value:
        curled = _fit(points_mm, points_px, relative_sd, prior, figures["sheet_curl"].value, flat)
        if curled.curl_chi2 > _CURL_CHI2:
            refuse_askew(curled.plane, shape)
            pose, curl = curled, curled.curl_mm
    _gate(flat if curl == 0 else pose, points_mm)
    bent = residual_mm > figures["residual_bent"].value or curl > 0
    return SheetFit(pose, flat.rms_px, residual_mm, curl, bent)


def _fit(
    points_mm: FloatArray,
    points_px: FloatArray,
    relative_sd: FloatArray,
    prior: CameraPrior,
    curl_share: float = 0.0,
    start: PoseFit | None = None,
) -> PoseFit:
    figures = load_figures("scale_figures")
    try:
        return fit_pose(
            points_mm,
            points_px,
            prior,
            relative_sd=relative_sd,
            sd_floor_px=figures["corner_sd_floor"].value,
            outlier_sds=figures["corner_outlier"].value,
            curl_share=curl_share,
            start=start,
        )
    except (ValueError, np.linalg.LinAlgError) as error:
        raise ScaleError(
            "target-contradicts", "No view of a flat target explains the corners found.", ADVICE_FLAT
        ) from error


def _px_per_mm(fit: PoseFit, points_mm: FloatArray) -> float:
    return float(np.median(1 / np.sqrt(fit.plane.pixel_area_mm2(fit.plane.to_px(points_mm)))))


def _gate(fit: PoseFit, points_mm: FloatArray) -> None:
    """Refuse points that miss the sheet by too much, or too many of which had to be dropped."""
    figures = load_figures("scale_figures")
    residual_mm = fit.rms_px / _px_per_mm(fit, points_mm)
    limit = figures["residual_refused"].value
    if residual_mm > limit:
        raise ScaleError(
            "target-contradicts",
            f"Corners miss a flat sheet by {fit.rms_px:.1f} px ({in_digits(residual_mm, 2)} mm; "
            f"limit {in_digits(limit, 2)} mm).",
            ADVICE_FLAT,
        )
    kept = int(fit.used.sum())
    if kept < figures["corners_min"].value or kept < figures["kept_share_min"].value * len(fit.used):
        raise ScaleError(
            "target-contradicts",
            f"Only {kept} of {len(fit.used)} points found on the target agree with a flat sheet.",
            ADVICE_FLAT,
        )
