"""Scale from something of known size that a person marked in the photo: a length, or a rectangle.

A length gives one number: the camera's tilt stays unknown, so the scale is the same everywhere and the budget
contains the tilts, lenses and places that a hand-held photo may have. A rectangle shows the tilt: its four corners
give camera and plane. Both are assumed to lie in the plane of the boards' faces; half a board's thickness to either
side is in the budget.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

from calibration.area_factors import as_sample, draws_of, fit_input, height_factor
from calibration.arrays import FloatArray
from calibration.camera import CameraPrior, camera_prior
from calibration.digits import as_given
from calibration.distributions import Distribution
from calibration.errors import ScaleError, UsageError
from calibration.inputs import Input
from calibration.notices import Notice, notice
from calibration.plane import PosedPlane, UniformPlane
from calibration.pose import PoseFit, fit_pose
from calibration.scale import Scale
from calibration.sourced import load_figures
from calibration.view import View, places_in_view, refuse_askew

Point = Sequence[float]

_CAMERAS = 400
_PLACES = 40
# if the area's place is not known, its middle lies about the length's middle with this standard deviation in each
# direction, as a share of the length: plated edges are marked themselves, or lie half a board away
_SCATTER = 0.25
_SEED = 11
_SHORTEST_PX = 20.0
_LONGEST_MM = 10_000.0
_OUTSIDE_PX = 2.0
# the scale is used at places within this share of the marked thing's longest side from its middle
_REACH = 0.75
# the marked corners may miss a rectangle by this many marking errors, or by this share of its shorter side
_MISS_SDS, _MISS_SHARE = 4.0, 0.03


def scale_from_length(
    view: View,
    length_mm: float,
    from_px: Point,
    to_px: Point,
    *,
    marking_sd_px: float | None = None,
    length_sd_mm: float | None = None,
    where_px: FloatArray | None = None,
) -> Scale:
    """Scale from one known length in the plane of the boards' faces.

    The photo's scale changes over a tilted board, so the effect of the tilt on an area depends on its place: give
    ``where_px`` once the place is known, for a far narrower range.

    Args:
        view: of the photo.
        length_mm: the length.
        from_px: one end in the photo.
        to_px: the other end.
        marking_sd_px: standard deviation of a marked point in each direction; None for the usual one.
        length_sd_mm: standard deviation of the stated length; None for the usual one.
        where_px: places (n, 2) that stand for the area to be measured, with equal weights; None for anywhere about
            the marked length.

    Raises:
        UsageError: an invalid length, or a point that is not in the photo.
        ScaleError: the ends are too near each other in the photo.
    """
    _check_mm(length_mm)
    ends = check_points(view.shape, [from_px, to_px])
    seen = float(np.hypot(*(ends[1] - ends[0])))
    if seen < _SHORTEST_PX:
        raise ScaleError(
            "length-too-short",
            f"The known length spans only {seen:.1f} px of the photo; at least {_SHORTEST_PX:.0f} px are needed.",
            "Mark a longer one, such as a board's long edge.",
        )
    px_per_mm = seen / length_mm
    prior = camera_prior(view.shape, view.focal_px)
    marking = _figure("marking_sd", marking_sd_px)
    tilts = _tilts()
    factors = _tilt_factors(_places(view.shape, ends, where_px), ends, seen, prior, tilts)
    inputs = (
        Input(
            "scale-tilt",
            "tilt of the camera, perspective and lens",
            as_sample(factors),
            load_figures("scale_figures")["tilt_prior_scale"].source,
            of=(view.id,),
        ),
        _marking_input(view.id, 2 * math.sqrt(2) * marking / seen),
        _stated_input(view.id, 2 * _figure("stated_length_sd", length_sd_mm) / length_mm),
        _offset_input(view.id, prior.lens.focal_px / px_per_mm),
    )
    return Scale(
        method="length",
        plane=UniformPlane(px_per_mm),
        px_per_mm=px_per_mm,
        area_inputs=inputs,
        notices=(notice("tilt-unknown", tilt_deg=float(np.degrees(np.quantile(tilts, 0.95)))),),
    )


def scale_from_rectangle(
    view: View,
    sides_mm: tuple[float, float],
    corners_px: Sequence[Point],
    *,
    marking_sd_px: float | None = None,
    side_sd_mm: float | None = None,
) -> Scale:
    """Scale from a known rectangle in the plane of the boards' faces.

    Args:
        view: of the photo.
        sides_mm: lengths of the first and the second edge.
        corners_px: four corners going round, either way; the first edge, from the first corner to the second, has the
            first length.
        marking_sd_px: standard deviation of a marked corner in each direction; None for the usual one.
        side_sd_mm: standard deviation of each stated side; None for the usual one.

    Raises:
        UsageError: invalid sides, not four corners, corners outside the photo or not going round.
        ScaleError: the rectangle is tiny in the photo, contradicted by its corners, or seen too much askew.
    """
    for side in sides_mm:
        _check_mm(side)
    if len(corners_px) != 4:
        raise UsageError(
            "corners-not-four", f"A rectangle has 4 corners, not {len(corners_px)}.", "Give four, going round it."
        )
    corners = check_points(view.shape, corners_px)
    turn = _turning(corners)
    edges = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    if edges.min() < _SHORTEST_PX / 2 or edges.max() < _SHORTEST_PX:
        raise ScaleError(
            "rectangle-too-small",
            f"The rectangle's shortest edge spans only {edges.min():.1f} px of the photo.",
            "Move closer and take the photo again, or mark a larger rectangle.",
        )
    width, height = sides_mm
    sheet = np.array([[0, 0], [width, 0], [width, turn * height], [0, turn * height]])
    marking = _figure("marking_sd", marking_sd_px)
    try:
        fit = fit_pose(sheet, corners, camera_prior(view.shape, view.focal_px), sd_px=marking)
    except (ValueError, np.linalg.LinAlgError) as error:
        raise _contradiction(sides_mm, "no view of it has these corners") from error
    if fit.rms_px > max(_MISS_SDS * marking, _MISS_SHARE * float(edges.min())):
        raise _contradiction(sides_mm, f"its corners miss it by {fit.rms_px:.1f} px")
    refuse_askew(fit.plane, view.shape)
    middle = corners.mean(axis=0)
    near = _near(view.shape, middle, float(edges.max()))
    side_sd = _figure("stated_length_sd", side_sd_mm)
    inputs = (
        fit_input(
            view.id,
            float(np.sqrt(np.mean(fit.log_area_sd(near, 0.0) ** 2))),
            "marking of the rectangle's corners, lens and tilt",
        ),
        _stated_input(view.id, side_sd * math.hypot(1 / width, 1 / height)),
        _offset_input(view.id, fit.plane.sheet_distance_mm),
    )
    return Scale(
        method="rectangle",
        plane=fit.plane,
        px_per_mm=float(1 / np.sqrt(fit.plane.pixel_area_mm2(middle[None])[0])),
        area_inputs=inputs,
        notices=_rectangle_notices(fit, view.focal_px),
        tilt_deg=fit.plane.tilt_deg,
    )


def _check_mm(length_mm: float) -> None:
    if not 0 < length_mm <= _LONGEST_MM:
        raise UsageError(
            "length-invalid", f"A known length of {as_given(length_mm)} mm is not possible.", "Give a length above 0."
        )


def _figure(key: str, given: float | None) -> float:
    """A given standard deviation, or the usual one."""
    if given is None:
        return load_figures("scale_figures")[key].value
    if not (math.isfinite(given) and given > 0):
        raise UsageError(
            "uncertainty-invalid", f"A standard deviation of {as_given(given)} is not possible.", "Give one above 0."
        )
    return given


def check_points(shape: tuple[int, ...], points: Sequence[Point]) -> FloatArray:
    """Marked points (n, 2), each checked to lie in the photo of (height, width, ...).

    Raises:
        UsageError: a point is not two numbers, or lies outside.
    """
    if any(len(p) != 2 or not all(math.isfinite(v) for v in p) for p in points):
        raise UsageError("point-invalid", "A marked point is not two numbers.", "Give each point as X,Y in pixels.")
    xy = np.array(points, dtype=np.float64)
    low, high = -0.5 - _OUTSIDE_PX, np.array([shape[1], shape[0]]) - 0.5 + _OUTSIDE_PX
    outside = xy[np.any((xy < low) | (xy > high), axis=1)]
    if len(outside):
        x, y = outside[0]
        raise UsageError(
            "point-outside",
            f"The point {as_given(x)},{as_given(y)} is outside the photo of {shape[1]} × {shape[0]} px.",
            "Give pixels of the photo as it is shown upright.",
        )
    return xy


def _turning(corners: FloatArray) -> int:
    """1 if the corners go round clockwise in the photo, -1 otherwise."""
    ahead = np.roll(corners, -1, axis=0) - corners
    behind = np.roll(ahead, 1, axis=0)
    turns = behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0]
    if np.all(turns > 0):
        return 1
    if np.all(turns < 0):
        return -1
    raise UsageError(
        "corners-not-round",
        "The rectangle's corners do not go round it: its edges cross, or three corners lie on one line.",
        "Give the four corners in order, going round the rectangle.",
    )


def _contradiction(sides_mm: tuple[float, float], why: str) -> ScaleError:
    return ScaleError(
        "rectangle-contradicts",
        f"The marked corners do not form a rectangle of {as_given(sides_mm[0])} x {as_given(sides_mm[1])} mm: {why}.",
        "Check that the first edge, from the first corner to the second, has the first length.",
    )


def _near(shape: tuple[int, ...], middle: FloatArray, longest_px: float) -> FloatArray:
    """Places in the photo (n, 2) near the marked thing."""
    places = places_in_view(shape, 32, 24)
    near = places[np.hypot(*(places - middle).T) <= _REACH * longest_px]
    return near if len(near) else middle[None]


def _tilts() -> FloatArray:
    """Tilts in radians that a hand-held photo may have, one for each assumed camera (n,)."""
    scale = math.radians(load_figures("scale_figures")["tilt_prior_scale"].value)
    levels = (np.arange(_CAMERAS) + 0.5) / _CAMERAS
    return np.asarray(np.minimum(scale * np.sqrt(-2 * np.log1p(-levels)), math.radians(45)))


def _places(shape: tuple[int, ...], ends: FloatArray, where_px: FloatArray | None) -> FloatArray:
    """For each assumed camera, the places in the photo whose area counts (cameras, places, 2)."""
    rng = np.random.default_rng([_SEED, 1])
    if where_px is not None and len(where_px):
        some = np.asarray(where_px, dtype=np.float64)
        if len(some) > _PLACES:
            some = some[np.linspace(0, len(some) - 1, _PLACES).astype(int)]
        return np.asarray(np.broadcast_to(some, (_CAMERAS, *some.shape)))
    reach = _SCATTER * float(np.hypot(*(ends[1] - ends[0])))
    scattered = ends.mean(axis=0) + reach * rng.standard_normal((_CAMERAS, 1, 2))
    return np.asarray(np.clip(scattered, 0, np.array([shape[1], shape[0]]) - 1.0))


def _tilt_factors(
    places: FloatArray, ends: FloatArray, seen_px: float, prior: CameraPrior, tilts: FloatArray
) -> FloatArray:
    """True area over that of the uniform scale (n,), for cameras that all see the length as marked.

    Args:
        places: whose mean area counts (n, k, 2).
        ends: of the length, (2, 2) px.
        seen_px: distance of the ends.
        prior: of the camera.
        tilts: radians (n,).
    """
    rng = np.random.default_rng([_SEED, 2])
    factors = []
    for tilt, spots in zip(tilts, places, strict=True):
        turn = rng.uniform(0, 2 * math.pi)
        lens = prior.drawn(rng)
        axis = tilt * np.array([math.cos(turn), math.sin(turn), 0.0])
        plane = PosedPlane(lens, cv2.Rodrigues(axis)[0], np.array([0.0, 0.0, 1.0]))
        first, second = plane.to_mm(ends)
        scale = seen_px / float(np.hypot(*(second - first)))
        factors.append(float(np.mean(plane.pixel_area_mm2(spots))) * scale**2)
    found = np.array(factors)
    return np.asarray(found[np.isfinite(found)])


def _marking_input(photo_id: str, sd_log: float) -> Input:
    return Input(
        "scale-marking",
        "marking of the known length's ends",
        Distribution("lognormal", (1.0, sd_log)),
        load_figures("scale_figures")["marking_sd"].source,
        of=(photo_id,),
    )


def _stated_input(photo_id: str, sd_log: float) -> Input:
    return Input(
        "scale-stated",
        "the stated size itself",
        Distribution("lognormal", (1.0, sd_log)),
        load_figures("scale_figures")["stated_length_sd"].source,
        of=(photo_id,),
    )


def _offset_input(photo_id: str, distance_mm: float) -> Input:
    figure = load_figures("scale_figures")["face_offset_sd"]
    offsets = draws_of(Distribution("normal", (0.0, figure.value)), stream=5)
    return Input(
        "face-height",
        "height of the boards' faces over what was marked",
        height_factor(offsets, 0.0, distance_mm),
        figure.source,
        of=(photo_id,),
    )


def _rectangle_notices(fit: PoseFit, focal_px: float | None) -> tuple[Notice, ...]:
    found = []
    if focal_px is None:
        found.append(notice("focal-estimated", focal_px=fit.plane.lens.focal_px))
    if fit.plane.tilt_deg > load_figures("scale_figures")["tilt_notice"].value:
        found.append(notice("tilt-large", tilt_deg=fit.plane.tilt_deg))
    return tuple(found)
