"""Pictures for materials: noise, metal surfaces as tiles, tables. What costs time is made once in a process and kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import cv2
import numpy as np

from .shapes import Array

TILE_MM, TILE_PX = 24.0, 1024  # metal tiles: 43 px/mm
TABLE_PX = 2048


def noise(rng: np.random.Generator, height: int, width: int, sizes: Sequence[float], amounts: Sequence[float]) -> Array:
    """Sum of smooth noises: blobs of some sizes in pixels and their standard deviations."""
    out = np.zeros((height, width), np.float32)
    for size, amount in zip(sizes, amounts, strict=True):
        grid = (max(int(height / size), 2), max(int(width / size), 2))
        small = rng.standard_normal(grid, np.float32) * np.float32(amount)
        way = cv2.INTER_CUBIC if size > 12 else cv2.INTER_LINEAR
        out += cv2.resize(small, (width, height), interpolation=way)
    return out


def normals(height_mm: Array, per_mm: float) -> Array:
    """A picture of normals from heights in mm."""
    gx = cv2.Sobel(height_mm, cv2.CV_32F, 1, 0, scale=per_mm / 8)
    gy = cv2.Sobel(height_mm, cv2.CV_32F, 0, 1, scale=per_mm / 8)
    return from_slopes(gx, gy)


def from_slopes(gx: Array, gy: Array) -> Array:
    """A picture of normals from slopes."""
    inverse = 0.5 / np.sqrt(gx * gx + gy * gy + 1)
    return np.stack([0.5 - gx * inverse, 0.5 - gy * inverse, 0.5 + inverse], -1)


def _wrap_lines(picture: Array, rng: np.random.Generator, count: int, angle: float | None, depth: float) -> None:
    """Draws scratches that run on over the tile's edges."""
    size = picture.shape[0]
    for _ in range(count):
        turn = rng.uniform(0, np.pi) if angle is None else angle + rng.normal(0, 0.06)
        reach = float(rng.uniform(0.05, 0.6)) * size
        start = rng.uniform(0, size, 2)
        end = start + reach * np.array([np.cos(turn), np.sin(turn)])
        bend = rng.normal(0, 0.04, 2) * reach
        line = np.array([start, (start + end) / 2 + bend, end])
        for dx in (-size, 0, size):
            for dy in (-size, 0, size):
                points = np.round((line + (dx, dy)) * 16).astype(np.int32)
                value = -depth * float(rng.uniform(0.3, 1))
                cv2.polylines(picture, [points], False, value, int(rng.choice([1, 1, 1, 2, 3])), cv2.LINE_AA, 4)


def _wrapped(picture: Array, border: int, change: Callable[[Array], Array]) -> Array:
    """Changes a picture whose opposite edges meet."""
    wide = cv2.copyMakeBorder(picture, border, border, border, border, cv2.BORDER_WRAP)
    return change(wide)[border:-border, border:-border]


@lru_cache(maxsize=32)
def metal_tile(kind: str, number: int) -> tuple[Array, Array]:
    """Normals (n, n, 3) and relative roughness (n, n, 1) of a metal surface, a tile of ``TILE_MM``.

    Kinds: smooth, satin, brushed, scratched, pitted.
    """
    rng = np.random.default_rng([len(kind), sum(kind.encode()), number])
    n, per_mm = TILE_PX, TILE_PX / TILE_MM
    grain = {"smooth": 0.0012, "satin": 0.006, "brushed": 0.004, "scratched": 0.003, "pitted": 0.006}[kind]
    fine = _wrapped(rng.standard_normal((n, n), np.float32), 8, lambda p: cv2.GaussianBlur(p, (0, 0), 1.2))
    coarse = np.roll(cv2.resize(fine[: n // 8, : n // 8], (n, n), interpolation=cv2.INTER_CUBIC), 200, 0)
    heights = grain * (0.05 * fine + 0.5 * coarse)
    rough = np.ones((n, n), np.float32) + 0.1 * fine
    if kind == "brushed":
        lines = rng.standard_normal((n, n), np.float32)
        lines = _wrapped(lines, 96, lambda p: cv2.blur(p, (1, 181)))
        heights += 0.012 * lines
        rough *= 1 + 1.2 * np.abs(lines)
    if kind in ("scratched", "brushed", "satin"):
        cuts = np.zeros((n, n), np.float32)
        many = {"scratched": 260, "brushed": 60, "satin": 40}[kind]
        _wrap_lines(cuts, rng, many, None, 0.012)
        if kind == "scratched":
            _wrap_lines(cuts, rng, 220, np.pi / 2, 0.010)
        heights += cv2.GaussianBlur(cuts, (0, 0), 0.8)
        rough += 25 * np.abs(cuts)
    if kind == "pitted":
        pits = np.zeros((n, n), np.float32)
        for x, y, r in zip(*rng.integers(8, n - 8, (2, 500)), rng.integers(1, 6, 500), strict=True):
            cv2.circle(pits, (int(x), int(y)), int(r), -0.01 * float(rng.uniform(0.2, 1)), -1, cv2.LINE_AA)
        heights += cv2.GaussianBlur(pits, (0, 0), 1.0)
        rough += 30 * np.abs(pits)
    return normals(heights, per_mm), rough[..., None]


def _wood(rng: np.random.Generator, n: int, size: float) -> Array:
    base = np.array([[0.32, 0.17, 0.075], [0.50, 0.33, 0.18], [0.15, 0.075, 0.04], [0.42, 0.30, 0.20],
                     [0.46, 0.24, 0.08], [0.56, 0.34, 0.12]][int(rng.integers(6))])  # fmt: skip
    y = np.linspace(0, 1, n, dtype=np.float32)[:, None] * size / 14
    yy = y + noise(rng, n, n, (n / 3, n / 9), (2.2, 0.5)) * np.linspace(0.8, 1.2, n, dtype=np.float32)[None]
    ring = 0.5 + 0.5 * np.sin(2 * np.pi * yy * 0.55) * (0.6 + 0.4 * np.sin(yy * 1.7))
    fibre = cv2.resize(rng.standard_normal((n, n // 40), np.float32), (n, n), interpolation=cv2.INTER_LINEAR)
    broad = cv2.resize(rng.standard_normal((n // 4, n // 160), np.float32), (n, n), interpolation=cv2.INTER_LINEAR)
    v = 1 - 0.28 * ring + 0.06 * fibre + 0.07 * broad
    plank = int(rng.uniform(90, 140) * n / size)
    for i in range(0, n, plank):
        v[i : i + plank] *= rng.uniform(0.9, 1.08)
        v[i : i + max(int(0.6 * n / size), 1)] *= 0.35
    return base * v[..., None] * np.array([1, 0.97, 0.95])


def _cutting_mat(rng: np.random.Generator, n: int, size: float) -> Array:
    colour = np.array([[0.17, 0.18, 0.19], [0.06, 0.20, 0.16], [0.10, 0.13, 0.22]][int(rng.integers(3))])
    t = np.ones((n, n, 3), np.float32) * colour * (1 + noise(rng, n, n, (2, 5, 300), (0.035, 0.025, 0.04)))[..., None]
    if rng.random() < 0.6:
        for i in np.arange(0, size, 10.0):
            q, b = int(i * n / size), max(int((0.35 if int(i) % 50 else 0.7) * n / size), 1)
            t[q : q + b] = t[q : q + b] * 0.5 + 0.22
            t[:, q : q + b] = t[:, q : q + b] * 0.5 + 0.22
    return t


def _cloth(rng: np.random.Generator, n: int, size: float, colours: Sequence[Sequence[float]], pitch: float) -> Array:
    colour = np.array(colours[int(rng.integers(len(colours)))])
    at = np.arange(n, dtype=np.float32) * (size / n * 2 * np.pi / pitch)
    weave = np.sin(at)[:, None] * np.sin(at)[None] * 0.35
    return colour * np.clip(1 + weave + noise(rng, n, n, (2, 6, 200), (0.18, 0.11, 0.13)), 0.2, 3)[..., None]


DARK = ((0.02, 0.02, 0.024), (0.05, 0.03, 0.03), (0.025, 0.035, 0.075))


@lru_cache(maxsize=24)
def table_picture(kind: str, number: int, size: float) -> Array:
    """Reflectance (n, n, 3) of a table ``size`` mm wide."""
    rng = np.random.default_rng([sum(kind.encode()), number, int(size)])
    n = TABLE_PX
    if kind == "paper":
        t = np.array([0.82, 0.81, 0.79]) * (1 + noise(rng, n, n, (2, 80), (0.006, 0.006)))[..., None]
    elif kind == "wood":
        t = _wood(rng, n, size)
    elif kind == "mat":
        t = _cutting_mat(rng, n, size)
    else:
        t = _cloth(rng, n, size, DARK, 1.3)
    return np.clip(t, 0.003, 0.9).astype(np.float32)
