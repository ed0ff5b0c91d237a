"""Pictures of tables, made once in a process and kept."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np

from .shapes import Array
from .textures import noise

TABLE_PX = 2048


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


WARM_CLOTH = ((0.45, 0.20, 0.06), (0.50, 0.34, 0.14), (0.36, 0.12, 0.05), (0.55, 0.42, 0.22), (0.30, 0.18, 0.08))


def _brick(rng: np.random.Generator, n: int, size: float) -> Array:
    """Bricks or tiles of orange-brown tones in rows."""
    k = n / size
    high, wide, joint = float(rng.uniform(25, 70)), float(rng.uniform(50, 210)), float(rng.uniform(2, 10))
    base = np.array(
        [[0.42, 0.15, 0.07], [0.50, 0.24, 0.10], [0.34, 0.13, 0.08], [0.52, 0.33, 0.17]][int(rng.integers(4))]
    )
    grey = np.array([0.45, 0.42, 0.38]) * rng.uniform(0.4, 1.2)
    t = np.broadcast_to(grey, (n, n, 3)).astype(np.float32)
    for row, y in enumerate(np.arange(0, size, high)):
        for x in np.arange(-wide * (row % 2) / 2, size, wide):
            a, b = int(max(x, 0) * k), int((x + wide - joint) * k)
            colour = base * np.exp(rng.normal(0, 0.18)) * np.exp(rng.normal(0, 0.06, 3))
            t[int(y * k) : int((y + high - joint) * k), a : max(b, a)] = colour
    t = cv2.GaussianBlur(t, (0, 0), 1.2)
    return np.asarray(t * (1 + noise(rng, n, n, (2, 7, 40), (0.12, 0.1, 0.1)))[..., None])


def _carpet(rng: np.random.Generator, n: int, _size: float) -> Array:
    """A pile of tufts, sometimes with a pattern."""
    colours = np.array(
        [[0.40, 0.18, 0.07], [0.50, 0.35, 0.18], [0.28, 0.10, 0.06], [0.55, 0.28, 0.08], [0.20, 0.14, 0.10]]
    )
    t = np.broadcast_to(colours[int(rng.integers(5))], (n, n, 3)).astype(np.float32)
    if rng.random() < 0.6:
        pattern = noise(rng, n, n, (float(rng.uniform(20, 120)),), (1.0,)) > 0.6
        t = np.where(pattern[..., None], colours[int(rng.integers(5))], t)
    tuft = np.clip(1 + noise(rng, n, n, (2, 4, 9), (0.25, 0.25, 0.15)), 0.1, 2.5)
    return np.asarray(t * tuft[..., None])


def _weave(rng: np.random.Generator, n: int, size: float) -> Array:
    """Bands woven over and under each other: baskets, mats, coarse linen."""
    pitch = float(rng.uniform(2, 12))
    colour = np.array([[0.52, 0.36, 0.17], [0.45, 0.24, 0.09], [0.58, 0.46, 0.28]][int(rng.integers(3))])
    at = np.arange(n, dtype=np.float32) * (size / n / pitch)
    over = (np.floor(at)[:, None] + np.floor(at)[None]) % 2
    across = np.abs(np.sin(np.pi * at)) ** 0.5
    level = np.where(over > 0, across[:, None], across[None])
    fibre = noise(rng, n, n, (2,), (0.12,))
    return np.asarray(colour * (level * (0.85 + fibre) * (0.8 + 0.2 * over) + 0.06)[..., None])


def _leather(rng: np.random.Generator, n: int, _size: float) -> Array:
    colour = np.array(
        [[0.30, 0.13, 0.05], [0.42, 0.22, 0.09], [0.16, 0.08, 0.05], [0.50, 0.32, 0.16]][int(rng.integers(4))]
    )
    cells = noise(rng, n, n, (5, 9), (1.0, 0.8))
    crease = np.clip(1 - 0.5 * np.exp(-((cells / 0.25) ** 2)), 0, 1)
    return np.asarray(colour * (crease * (1 + noise(rng, n, n, (60, 300), (0.06, 0.1))))[..., None])


def _card(rng: np.random.Generator, n: int, size: float) -> Array:
    """Cardboard, coloured paper or a painted top."""
    colours = [[0.46, 0.30, 0.16], [0.55, 0.39, 0.22], [0.70, 0.58, 0.36], [0.62, 0.30, 0.08], [0.70, 0.52, 0.10],
               [0.40, 0.08, 0.06], [0.10, 0.28, 0.12], [0.62, 0.28, 0.34], [0.30, 0.30, 0.30]]  # fmt: skip
    flutes = 0.03 * np.sin(np.arange(n) * (size / n) * 2 * np.pi / 4.0)[None] if rng.random() < 0.4 else 0.0
    return (
        np.array(colours[int(rng.integers(len(colours)))])
        * (1 + flutes + noise(rng, n, n, (2, 30, 300), (0.03, 0.03, 0.05)))[..., None]
    )


MADE = {"brick": _brick, "carpet": _carpet, "weave": _weave, "leather": _leather, "card": _card}


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
    elif kind in MADE:
        t = MADE[kind](rng, n, size)
    else:
        t = _cloth(
            rng,
            n,
            size,
            DARK if kind == "cloth" else WARM_CLOTH,
            1.3 if kind == "cloth" else float(rng.uniform(1.5, 6)),
        )
    return np.clip(t, 0.003, 0.9).astype(np.float32)
