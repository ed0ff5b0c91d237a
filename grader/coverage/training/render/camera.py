"""Cameras: a pinhole with lens distortion and a thin lens, or a flat scanner."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .engine import dr, kernel_float, mi, point, vector
from .shapes import Array


@dataclass(frozen=True)
class Camera:
    """The camera of a picture.

    Attributes:
        width, height: pixels. Pixel centres are integers.
        axes: rows right, down and forward in world coordinates (3, 3).
        position: in mm.
        focal_px: focal length in px, ``None`` for a scanner.
        distortion: two radial coefficients.
        px_per_mm: scale of a scanner, otherwise ``None``.
        distance_mm: to the point that it looks at; the lens is focused there.
        lens_mm: radius of the aperture.
    """

    width: int
    height: int
    axes: Array
    position: Array
    focal_px: float | None = None
    distortion: tuple[float, float] = (0.0, 0.0)
    px_per_mm: float | None = None
    distance_mm: float = 250.0
    lens_mm: float = 0.0

    def resized(self, width: int) -> Camera:
        """The same view with another number of pixels."""
        k = width / self.width
        return replace(
            self, width=width, height=round(self.height * k), focal_px=self.focal_px and self.focal_px * k,
            px_per_mm=self.px_per_mm and self.px_per_mm * k,
        )  # fmt: skip

    @property
    def scale_px_per_mm(self) -> float:
        """Pixels per millimetre where the camera looks."""
        return self.px_per_mm if self.focal_px is None else self.focal_px / self.distance_mm  # type: ignore[return-value]

    def rays(self, u: Any, v: Any, lens: Any = None) -> Any:
        """Rays through picture points; ``lens`` are points on the aperture's unit disc."""
        right, down, forward = (vector(a) for a in self.axes)
        origin = point(self.position)
        x, y = u - kernel_float((self.width - 1) / 2), v - kernel_float((self.height - 1) / 2)
        if self.focal_px is None:
            per = kernel_float(1 / float(self.px_per_mm or 1.0))
            return mi.RayDifferential3f(origin + right * (x * per) + down * (y * per), forward + mi.Vector3f(0) * u)
        per, k1, k2 = (
            kernel_float(1 / self.focal_px),
            kernel_float(self.distortion[0]),
            kernel_float(self.distortion[1]),
        )
        x, y = x * per, y * per
        seen = dr.sqrt(x * x + y * y) + 1e-9
        true = mi.Float(seen)
        for _ in range(5):
            q = true * true
            true -= (true * (1 + k1 * q + k2 * q * q) - seen) / (1 + 3 * k1 * q + 5 * k2 * q * q)
        x, y = x * true / seen, y * true / seen
        ahead = right * x + down * y + forward
        if lens is None:
            return mi.RayDifferential3f(origin + mi.Vector3f(0) * u, dr.normalize(ahead))
        aside = (right * lens.x + down * lens.y) * kernel_float(self.lens_mm)
        return mi.RayDifferential3f(origin + aside, dr.normalize(ahead * kernel_float(self.distance_mm) - aside))

    def project(self, points: Array) -> Array:
        """Picture points of world points (n, 3)."""
        q = (np.asarray(points, float) - self.position) @ np.asarray(self.axes).T
        centre = np.array([(self.width - 1) / 2, (self.height - 1) / 2])
        if self.focal_px is None:
            return np.asarray(q[:, :2] * self.px_per_mm + centre)
        flat = q[:, :2] / q[:, 2:]
        r2 = (flat * flat).sum(1, keepdims=True)
        bent = flat * (1 + self.distortion[0] * r2 + self.distortion[1] * r2 * r2)
        return np.asarray(bent * self.focal_px + centre)


def looking(width: int, height: int, focal: float, at: Array, distance: float, tilt: float, azimuth: float,
            roll: float) -> Camera:  # fmt: skip
    """A pinhole camera that looks at a point from a direction; angles in radians."""
    off = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    right = np.cross(-off, [np.cos(roll), np.sin(roll), 0.0])
    right /= np.linalg.norm(right)
    axes = np.stack([right, np.cross(-off, right), -off])
    return Camera(width, height, axes, np.asarray(at, float) + off * distance, focal, distance_mm=distance)


def _bent(rng: np.random.Generator) -> tuple[float, float]:
    if rng.random() >= 0.7:
        return 0.0, 0.0
    return float(rng.uniform(-0.06, 0.05)), float(rng.uniform(-0.01, 0.01))


def phone_focal(rng: np.random.Generator, width: int, height: int) -> float:
    """Focal length in px of a phone's main camera (26 mm on 43.27 mm of diagonal)."""
    return float(26 / 43.27 * np.hypot(width, height) * rng.uniform(0.97, 1.05))


def framing(rng: np.random.Generator, points: Array, width: int, height: int) -> Camera:
    """A phone that frames world points (n, 3)."""
    focal = phone_focal(rng, width, height)
    middle = (points[:, :2].min(0) + points[:, :2].max(0)) / 2 + rng.normal(0, 5, 2)
    at = np.array([*middle, 1.0])
    tilt = np.radians(float(rng.choice([rng.uniform(0, 4), rng.uniform(2, 14), rng.uniform(10, 25)])))
    azimuth, margin = float(rng.uniform(0, 2 * np.pi)), float(rng.choice([1.03, 1.08, 1.15, 1.3]))
    half = np.array([width, height]) / 2
    best = (np.inf, 0.0)
    for roll in rng.uniform(0, 2 * np.pi, 8 if rng.random() < 0.75 else 1):
        low, high = 100.0, 900.0
        for _ in range(12):
            distance = (low + high) / 2
            seen = looking(width, height, focal, at, distance, tilt, azimuth, roll).project(points)
            fits = bool((np.abs(seen - half + 0.5) * margin < half).all())
            low, high = (low, distance) if fits else (distance, high)
        best = min(best, (high, float(roll)))
    distance = float(np.clip(best[0], 180, 520))
    camera = looking(width, height, focal, at, distance, tilt, azimuth, best[1])
    return replace(camera, distortion=_bent(rng), lens_mm=float(rng.choice([0, 0.6, 1.1])))


def close(rng: np.random.Generator, at: Array, px_per_mm: float, width: int, height: int) -> Camera:
    """A close view of a point at a scale. Below a hand's breadth the picture is cut from a larger one."""
    focal = phone_focal(rng, width, height)
    distance = focal / px_per_mm
    if distance < 90:
        distance = float(rng.uniform(80, 150))
        focal = px_per_mm * distance
    tilt = np.radians(float(rng.choice([rng.uniform(0, 5), rng.uniform(3, 15), rng.uniform(10, 28)])))
    camera = looking(width, height, focal, at, distance, tilt, *rng.uniform(0, 2 * np.pi, 2).tolist())
    deep = min(1.0, distance / 250)
    return replace(camera, distortion=_bent(rng), lens_mm=float(rng.choice([0, 0.5, 1.0])) * deep)


def scanner(rng: np.random.Generator, points: Array, widest: int) -> Camera:
    """A flatbed scan of world points (n, 3)."""
    low, high = points[:, :2].min(0) - 6, points[:, :2].max(0) + 6
    scale = float(rng.choice([200, 300, 400])) / 25.4
    scale = min(scale, widest / float((high - low).max()))
    width, height = (int(v) for v in np.ceil((high - low) * scale))
    axes = np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]])
    return Camera(width, height, axes, np.array([*(low + high) / 2, 250.0]), px_per_mm=scale)
