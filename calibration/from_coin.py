"""Scale from a disc of known diameter, a coin: points on its rim, and the ellipse that they lie on.

The ellipse shows the disc's tilt as well as its points allow, but not the side to which it is tilted: a nearly round
one may be seen from ten degrees off. Tilts are therefore weighted, not chosen: for cameras that a phone may have,
tilts are drawn that see the marked points on one circle, and are weighted by how well they do so. The scale is the
same everywhere; its possible change over the photo is in the budget, as with a known length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.area_factors import as_sample, draws_of, height_factor
from calibration.arrays import FloatArray
from calibration.camera import CameraPrior, Lens, camera_prior
from calibration.digits import as_given
from calibration.distributions import Distribution
from calibration.errors import ScaleError, UsageError
from calibration.inputs import Input
from calibration.known import Point, check_points
from calibration.notices import notice
from calibration.plane import PosedPlane, UniformPlane
from calibration.scale import Scale
from calibration.sourced import load_figures
from calibration.view import View, places_in_view

_LENSES, _TILTS_EACH = 25, 24
_SEED = 13
_CHOSEN = 2000
_PLACES = 40
_SMALLEST_PX = 10.0
_LARGEST_MM = 1000.0
_WIDEST_GAP_DEG = 170.0
_WIDER = 1.4  # tilts are drawn a little wider than the likelihood's curvature at its peaks suggests
_STEEPEST = math.radians(60)
_STEP = math.radians(0.2)


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Possible planes of the disc: their weights, and the area of a pixel in each, in disc radii squared.

    Attributes:
        weight: (n,), adding up to one.
        tilt: of each, radians (n,).
        at_disc: area of a pixel at the disc's middle (n,).
        at_places: mean area of a pixel at the places that count (n,).
        miss_px: least root mean square distance of the points from a circle.
    """

    weight: FloatArray
    tilt: FloatArray
    at_disc: FloatArray
    at_places: FloatArray
    miss_px: float


def scale_from_coin(
    view: View,
    diameter_mm: float,
    rim_px: Sequence[Point],
    *,
    marking_sd_px: float | None = None,
    diameter_sd_mm: float | None = None,
    rise_mm: FloatArray | None = None,
    where_px: FloatArray | None = None,
) -> Scale:
    """Scale from a disc whose rim was marked.

    Args:
        view: of the photo.
        diameter_mm: of the disc.
        rim_px: five points of its upper rim or more, all round it.
        marking_sd_px: standard deviation of a marked point across the rim; None for the usual one.
        diameter_sd_mm: standard deviation of the diameter; None for the usual one.
        rise_mm: draws (20 000,) of the height of the boards' faces above the rim; None if they are level.
        where_px: places (n, 2) that stand for the area to be measured; None for anywhere in the photo.

    Raises:
        UsageError: too few points, points outside the photo or on one side of the disc, an impossible diameter.
        ScaleError: the disc is tiny in the photo, or the points do not lie on an ellipse that a disc can show.
    """
    figures = load_figures("scale_figures")
    if not 0 < diameter_mm <= _LARGEST_MM:
        raise UsageError(
            "diameter-invalid",
            f"A diameter of {as_given(diameter_mm)} mm is not possible.",
            "Give a diameter above 0.",
        )
    rim = _checked(view.shape, rim_px)
    marking = figures["marking_sd"].value if marking_sd_px is None else marking_sd_px
    places = places_in_view(view.shape, 8, 6) if where_px is None or not len(where_px) else np.asarray(where_px)
    if len(places) > _PLACES:
        places = places[np.linspace(0, len(places) - 1, _PLACES).astype(int)]
    prior = camera_prior(view.shape, view.focal_px)
    drawn = _draw_planes(rim, places, prior, marking)
    radius_px = _mean_radius(rim)
    if drawn.miss_px > max(figures["rim_miss_refused"].value * marking, 0.03 * radius_px):
        raise ScaleError(
            "rim-no-ellipse",
            f"The marked points do not lie on the rim of a disc: the best fit misses them by {drawn.miss_px:.1f} px.",
            "Mark points on the outer rim of the coin only, all round it.",
        )
    radius2 = (diameter_mm / 2) ** 2
    pixel_mm2 = float(drawn.weight @ drawn.at_disc) * radius2
    px_per_mm = 1 / math.sqrt(pixel_mm2)
    chosen = np.random.default_rng([_SEED, 3]).choice(len(drawn.weight), _CHOSEN, p=drawn.weight)
    sd = figures["coin_diameter_sd"].value if diameter_sd_mm is None else diameter_sd_mm
    rise = np.zeros(1) if rise_mm is None else rise_mm
    inputs = (
        Input(
            "scale-tilt",
            "tilt of the camera, perspective and lens",
            as_sample(drawn.at_places[chosen] * radius2 / pixel_mm2),
            figures["tilt_prior_scale"].source,
            of=(view.id,),
        ),
        Input(
            "scale-marking",
            "marking of the coin's rim",
            Distribution("lognormal", (1.0, 2 * marking / (radius_px * math.sqrt(len(rim))))),
            figures["marking_sd"].source,
            of=(view.id,),
        ),
        Input(
            "scale-stated",
            "the coin's diameter itself",
            Distribution("lognormal", (1.0, 2 * sd / diameter_mm)),
            figures["coin_diameter_sd"].source,
            of=(view.id,),
        ),
        Input(
            "face-height",
            "height of the boards' faces over the coin's rim",
            height_factor(rise, 0.0, prior.lens.focal_px / px_per_mm),
            figures["face_offset_sd"].source,
            of=(view.id,),
        ),
    )
    steep = float(np.degrees(np.quantile(drawn.tilt[chosen], 0.95)))
    return Scale(
        method="coin",
        plane=UniformPlane(px_per_mm),
        px_per_mm=px_per_mm,
        area_inputs=inputs,
        notices=(notice("tilt-unknown", tilt_deg=steep),),
    )


def rise_over_coin(face_height_mm: Distribution, thickness_mm: float) -> FloatArray:
    """Draws of the height of the boards' faces above a coin's rim, if both lie on the same table."""
    return draws_of(face_height_mm, stream=5) - thickness_mm


def _checked(shape: tuple[int, ...], rim_px: Sequence[Point]) -> FloatArray:
    least = int(load_figures("scale_figures")["rim_points_min"].value)
    if len(rim_px) < least:
        raise UsageError(
            "rim-points-few",
            f"{len(rim_px)} points are too few to find a coin's rim; at least {least} are needed.",
            "Mark eight points or more, all round the coin's rim.",
        )
    rim = check_points(shape, rim_px)
    if _mean_radius(rim) < _SMALLEST_PX:
        raise ScaleError(
            "coin-too-small",
            f"The coin is only {2 * _mean_radius(rim):.0f} px wide.",
            "Move closer and take the photo again, or give a longer known length.",
        )
    centre = _circle(rim)[:2]
    around = np.sort(np.degrees(np.arctan2(*(rim - centre).T[::-1])))
    widest = float(np.max(np.diff(np.r_[around, around[0] + 360])))
    if widest > _WIDEST_GAP_DEG:
        raise UsageError(
            "rim-one-sided",
            f"No point is marked along {widest:.0f}° of the coin's rim.",
            "Mark points all round the coin's rim.",
        )
    return rim


def _mean_radius(rim: FloatArray) -> float:
    return float(_circle(rim)[2])


def _circle(points: FloatArray) -> FloatArray:
    """Centre and radius (3,) of the circle with the least sum of squared distances from points (n, 2)."""
    x, y = points.T
    mx, my = x.mean(), y.mean()
    x, y = x - mx, y - my
    rows = np.stack([x, y, np.ones(len(x))])
    a, b, c = np.linalg.solve(rows @ rows.T, rows @ (x * x + y * y))
    best = np.array([a / 2, b / 2, math.sqrt(max(c + (a * a + b * b) / 4, 1e-30))])
    for _ in range(2):
        dx, dy = x - best[0], y - best[1]
        distance = np.hypot(dx, dy)
        rows = np.stack([dx / distance, dy / distance, np.ones(len(x))])
        best = best + np.linalg.solve(rows @ rows.T, rows @ (distance - best[2]))
    return np.asarray(best + np.array([mx, my, 0.0]))


def _plane(tilt: FloatArray) -> PosedPlane:
    """A plane one mm away along the optical axis, tilted about an axis in the picture by the vector's length.

    Its camera is perfect, with rays as pixels, so that a real lens is undone only once for all tilts.
    """
    turn = cv2.Rodrigues(np.array([tilt[0], tilt[1], 0.0]))[0]
    return PosedPlane(Lens(1.0, 0.0, 0.0), turn, np.array([0.0, 0.0, 1.0]))


def _misses(rays: FloatArray, tilt: FloatArray, radius_px: float) -> tuple[FloatArray, float]:
    """Distance, in px, of each ray from the best circle for all rays in a plane of that tilt (n,); its radius."""
    seen = _plane(tilt).to_mm(rays)
    if not np.isfinite(seen).all():
        return np.full(len(rays), 1e3), math.nan
    cx, cy, radius = _circle(seen)
    return np.asarray((np.hypot(seen[:, 0] - cx, seen[:, 1] - cy) / radius - 1) * radius_px), float(radius)


def _draw_planes(rim: FloatArray, places: FloatArray, prior: CameraPrior, marking_px: float) -> _Drawn:
    rng = np.random.default_rng([_SEED, 1])
    radius_px, middle = _mean_radius(rim), rim.mean(axis=0)[None]
    spread = math.radians(load_figures("scale_figures")["tilt_prior_scale"].value)
    log_weight, tilts, at_disc, at_places, misses = [], [], [], [], []
    starts = _starts()
    for _ in range(_LENSES):
        lens = prior.drawn(rng)
        rays = lens.rays(rim)
        counted, density = lens.rays_and_density(np.vstack([middle, places]))
        peaks = _peaks(rays, radius_px, marking_px, spread, starts)
        starts = [p for p, _ in peaks]
        for _ in range(_TILTS_EACH):
            centre, deviation = peaks[int(rng.integers(len(peaks)))]
            tilt = centre + deviation @ rng.standard_normal(2)
            if np.hypot(*tilt) > _STEEPEST:
                continue
            miss, radius = _misses(rays, tilt, radius_px)
            area = _plane(tilt).pixel_area_mm2(counted) * density / radius**2
            target = -0.5 * float(miss @ miss) / marking_px**2 - 0.5 * float(tilt @ tilt) / spread**2
            log_weight.append(target - _log_density(tilt, peaks))
            tilts.append(float(np.hypot(*tilt)))
            at_disc.append(float(area[0]))
            at_places.append(float(np.mean(area[1:])))
            misses.append(float(np.sqrt(np.mean(miss**2))))
    logs, near, far = np.array(log_weight), np.array(at_disc), np.array(at_places)
    usable = np.isfinite(near) & np.isfinite(far)
    weight = np.where(usable, np.exp(logs - logs[usable].max()), 0.0)
    return _Drawn(
        weight / weight.sum(),
        np.array(tilts),
        np.where(usable, near, 0.0),
        np.where(usable, far, 0.0),
        min(misses),
    )


def _starts() -> list[FloatArray]:
    """Starting tilts for the search for the likeliest: straight down, and two rings about it."""
    turns = np.arange(6) * math.pi / 3
    rings = [math.radians(r) * np.array([math.cos(t), math.sin(t)]) for r in (10.0, 30.0) for t in turns]
    return [np.zeros(2), *rings]


def _peaks(
    rays: FloatArray, radius_px: float, marking_px: float, spread: float, starts: list[FloatArray]
) -> list[tuple[FloatArray, FloatArray]]:
    """The likeliest tilts for the rim's rays, each with a square root (2, 2) of its curvature's covariance."""

    def system(tilt: FloatArray) -> tuple[FloatArray, FloatArray]:
        def at(t: FloatArray) -> FloatArray:
            return np.concatenate([_misses(rays, t, radius_px)[0] / marking_px, t / spread])

        slopes = [(at(tilt + step) - at(tilt - step)) / (2 * _STEP) for step in _STEP * np.eye(2)]
        return at(tilt), np.column_stack(slopes)

    found: list[tuple[FloatArray, FloatArray, float]] = []
    for start in starts:
        tilt, damping = start, 1e-2
        miss, rows = system(tilt)
        for _ in range(12):
            normal = rows.T @ rows
            step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -rows.T @ miss)
            trial_miss, trial_rows = system(tilt + step)
            if float(trial_miss @ trial_miss) < float(miss @ miss) and np.hypot(*(tilt + step)) < _STEEPEST:
                tilt, miss, rows, damping = tilt + step, trial_miss, trial_rows, damping / 10
                if float(np.hypot(*step)) < 1e-5:
                    break
            else:
                damping *= 10
        covariance = np.linalg.inv(rows.T @ rows)
        root = _WIDER * np.linalg.cholesky(covariance)
        if all(np.hypot(*np.linalg.solve(r, tilt - t)) > 1 for t, r, _ in found):
            found.append((tilt, root, 0.5 * float(miss @ miss)))
    least = min(cost for _, _, cost in found)
    return [(t, r) for t, r, cost in found if cost < least + 12]


def _log_density(tilt: FloatArray, peaks: list[tuple[FloatArray, FloatArray]]) -> float:
    """Logarithm of the density, up to a constant, from which tilts are drawn."""
    parts = []
    for centre, root in peaks:
        z = np.linalg.solve(root, tilt - centre)
        parts.append(math.exp(max(-0.5 * float(z @ z), -700.0)) / abs(float(np.linalg.det(root))))
    return math.log(sum(parts) / len(peaks))
