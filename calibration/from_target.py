"""Scale from a printed target: pose, gates, and the budget of the remaining uncertainty."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.area_factors import draws_of, fit_input, height_factor, median_of, squared_factor
from calibration.arrays import FloatArray
from calibration.camera import camera_prior
from calibration.detect import Corners, find_corners, find_own_corners
from calibration.distributions import Distribution
from calibration.errors import ScaleError
from calibration.face_height import face_height
from calibration.inputs import Input
from calibration.notices import Notice, notice
from calibration.plane import PosedPlane
from calibration.scale import Scale
from calibration.sheet_fit import ADVICE_FLAT, SheetFit, fit_sheet
from calibration.sourced import load_figures, load_inputs
from calibration.target import TargetDescription, own_target
from calibration.view import View, places_in_view

_WHOLE = "Lay the whole target flat beside the boards, nothing on top of it, and take the photo again."

# marker middles are less certain than crossings by this factor, and are used below this number of crossings
_MIDDLE_SD, _CROSSINGS_ENOUGH = 3.0, 12
# least spread (root mean square) of the points across their longest direction, in squares
_NARROWEST = 0.12


def scale_from_target(
    rgb: NDArray[np.uint8],
    target: TargetDescription,
    view: View,
    *,
    face_height_mm: Distribution | None = None,
    print_factor: Distribution | None = None,
) -> Scale:
    """Scale in the plane of the boards' faces from a photo that shows a target.

    Args:
        rgb: uint8 (height, width, 3).
        target: the sheet.
        view: of the photo.
        face_height_mm: height of the boards' faces above the sheet; None for common boards (``face_height``).
        print_factor: printed ÷ stated length; None for a sheet whose stated size the user has measured, or for our
            own sheet if it was never checked.

    Raises:
        ScaleError: too little of the target is in sight, it contradicts a flat sheet, or it is seen too much askew.
    """
    return _scale_from_corners(
        target,
        find_corners(rgb, target),
        view,
        face_height_mm=face_height_mm,
        print_factor=print_factor,
    )


def _scale_from_corners(
    target: TargetDescription,
    corners: Corners,
    view: View,
    *,
    face_height_mm: Distribution | None,
    print_factor: Distribution | None,
) -> Scale:
    points_mm, points_px, relative = _points(corners, target)
    _refuse_too_few(corners, points_mm, target)
    linear = _print_distribution(target, print_factor)
    nominal = median_of(linear)
    sheet = fit_sheet(points_mm * nominal, points_px, relative, camera_prior(view.shape, view.focal_px), view.shape)
    fit = sheet.pose

    heights = draws_of(face_height_mm if face_height_mm is not None else face_height(), stream=4)
    heights = heights - sheet.elevation_mm()
    height = float(np.median(heights))
    plane = fit.plane.at_height(height)
    outline = _outline_px(fit.plane, target, nominal)
    spread = _fit_spread(sheet, height, view.shape, outline)
    inputs = (
        fit_input(view.id, spread),
        Input(
            "print-size",
            "size of the printed target",
            squared_factor(linear, nominal),
            "measured check bar" if print_factor is not None else _print_source(target),
            of=(target.name,),
        ),
        Input(
            "face-height",
            "height of the boards' faces above the target",
            height_factor(heights, height, fit.plane.sheet_distance_mm),
            "board thickness and the gap under the board; flatness of the target from its residuals",
            of=(view.id,),
        ),
    )
    middle = points_px[fit.used].mean(axis=0)[None]
    scale = Scale(
        method="target",
        plane=plane,
        px_per_mm=float(1 / np.sqrt(plane.pixel_area_mm2(middle)[0])),
        area_inputs=inputs,
        notices=_notices(sheet, corners, target, view.focal_px, print_factor),
        target_px=(outline,),
        tilt_deg=fit.plane.tilt_deg,
    )
    _refuse_vague(scale, corners, target, sheet)
    return scale


def find_own_target(
    rgb: NDArray[np.uint8],
    view: View,
    *,
    face_height_mm: Distribution | None = None,
    print_factor: Distribution | None = None,
) -> Scale | None:
    """Scale from one of our own printed targets, or None if the photo shows none.

    Raises:
        ScaleError: our target is there but cannot be used.
    """
    found = find_own_corners(rgb)
    if found is None:
        return None
    paper, corners = found
    return _scale_from_corners(
        own_target(paper),
        corners,
        view,
        face_height_mm=face_height_mm,
        print_factor=print_factor,
    )


def _points(corners: Corners, target: TargetDescription) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places (n, 2) on the sheet as stated, in the photo (n, 2), and their relative uncertainty (n,)."""
    mm = target.corners_mm(corners.ids)
    if len(corners) >= _CROSSINGS_ENOUGH:
        return mm, corners.px, np.ones(len(mm))
    return (
        np.concatenate([mm, corners.middles_mm]),
        np.concatenate([corners.px, corners.middles_px]),
        np.concatenate([np.ones(len(mm)), np.full(len(corners.middles_mm), _MIDDLE_SD)]),
    )


def _refuse_too_few(corners: Corners, points_mm: FloatArray, target: TargetDescription) -> None:
    least = int(load_figures("scale_figures")["corners_min"].value)
    seen = f"{len(corners)} of {target.corner_count} corners and {corners.markers} of {target.marker_count} markers"
    if corners.markers == 0:
        raise ScaleError("target-not-found", f"The target ({target.dictionary}) is not in the photo.", _WHOLE)
    if len(points_mm) < least:
        raise ScaleError(
            "target-too-little",
            f"Only {seen} of the target are in sight; at least {least} points are needed.",
            _WHOLE,
        )
    narrow = float(np.linalg.svd(points_mm - points_mm.mean(axis=0), compute_uv=False)[1] / np.sqrt(len(points_mm)))
    if narrow < _NARROWEST * target.square_mm:
        raise ScaleError(
            "target-too-little",
            f"The {seen} of the target in sight lie on one line, so they cannot show the tilt.",
            _WHOLE,
        )


def _print_distribution(target: TargetDescription, print_factor: Distribution | None) -> Distribution:
    """Printed ÷ stated length."""
    if print_factor is not None:
        return print_factor
    if target.is_own:
        return load_inputs("scale_inputs")["print-size"].distribution
    return Distribution("lognormal", (1.0, load_figures("scale_figures")["square_stated_sd"].value))


def _print_source(target: TargetDescription) -> str:
    if target.is_own:
        return load_inputs("scale_inputs")["print-size"].source
    return load_figures("scale_figures")["square_stated_sd"].source


def _outline_px(plane: PosedPlane, target: TargetDescription, nominal: float) -> FloatArray:
    """The sheet's outline (40, 2) in px; its edges bend with the lens."""
    corners = target.outline_mm() * nominal
    along = np.linspace(0, 1, 10, endpoint=False)[:, None]
    edges = [a + along * (b - a) for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    return plane.to_px(np.concatenate(edges))


def _fit_spread(sheet: SheetFit, height_mm: float, shape: tuple[int, ...], outline: FloatArray) -> float:
    """Standard deviation of log area at a place in the photo away from the target, taken over such places."""
    places = places_in_view(shape)
    polygon = outline.astype(np.float32).reshape(-1, 1, 2)
    outside = [p for p in places if cv2.pointPolygonTest(polygon, (float(p[0]), float(p[1])), measureDist=False) < 0]
    chosen = np.array(outside) if outside else places
    return float(np.sqrt(np.mean(sheet.pose.log_area_sd(chosen, height_mm, sheet.inflation) ** 2)))


def _refuse_vague(scale: Scale, corners: Corners, target: TargetDescription, sheet: SheetFit) -> None:
    limit = load_figures("scale_figures")["area_sd_refused"].value
    sd = 2 * scale.relative_uncertainty()
    if sd <= limit:
        return
    doubt = f"areas would be uncertain by {sd:.0%} (limit {limit:.0%})."
    if sheet.bent:
        raise ScaleError(
            "target-contradicts",
            f"The target's corners miss a flat sheet by {sheet.residual_mm:.2f} mm; {doubt}",
            ADVICE_FLAT,
        )
    raise ScaleError(
        "target-too-little",
        f"With {len(corners)} of {target.corner_count} corners of the target in sight, {doubt}",
        _WHOLE,
    )


def _notices(
    sheet: SheetFit,
    corners: Corners,
    target: TargetDescription,
    focal_px: float | None,
    print_factor: Distribution | None,
) -> tuple[Notice, ...]:
    plane = sheet.pose.plane
    found = []
    if len(corners) < target.corner_count:
        found.append(notice("target-partly-seen", seen=len(corners), total=target.corner_count))
    if sheet.bent:
        found.append(notice("target-bent", residual_px=sheet.residual_px, residual_mm=sheet.residual_mm))
    if focal_px is None:
        found.append(notice("focal-estimated", focal_px=plane.lens.focal_px))
    if plane.tilt_deg > load_figures("scale_figures")["tilt_notice"].value:
        found.append(notice("tilt-large", tilt_deg=plane.tilt_deg))
    if target.is_own and print_factor is None:
        found.append(notice("print-size-unchecked"))
    return tuple(found)
