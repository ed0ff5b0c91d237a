"""Pictures for materials: noise, metal surfaces as tiles. Slow pictures are made once in a process and kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import cv2
import numpy as np

from .shapes import Array

TILE_MM, TILE_PX = 24.0, 1024  # metal tiles: 43 px/mm


def noise(
    rng: np.random.Generator, height: int, width: int, sizes: Sequence[float], amounts: Sequence[float]
) -> Array:
    """Sum of smooth noises: blobs of the given sizes in pixels, with their standard deviations."""
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
    """Draw scratches that continue across the tile's edges."""
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
                wide = int(rng.choice([1, 1, 1, 2, 3]))
                cv2.polylines(
                    picture, [points], isClosed=False, color=value, thickness=wide, lineType=cv2.LINE_AA, shift=4
                )


def _wrapped(picture: Array, border: int, change: Callable[[Array], Array]) -> Array:
    """Change a picture whose opposite edges meet."""
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
