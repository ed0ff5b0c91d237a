"""Placement of things: boards side by side or in a heap, the printed target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import shapely
from scipy.optimize import linprog

from .design import Design
from .shapes import Array

BASE_MM = 0.15


@dataclass(frozen=True)
class Target:
    """A printed sheet with a chessboard of markers and grey patches.

    Attributes:
        picture: reflectance (h, w), first row at the sheet's top.
        width, height: in mm.
        angle: about the world's z.
    """

    picture: Array
    width: float
    height: float
    angle: float


def height_map(d: Design, step: float = 2.5) -> tuple[Array, Array]:
    """Points (n, 2) of a board and the height of its upper surface there (n,)."""
    a, b, c, e = d.outline.bounds
    x, y = np.meshgrid(np.arange(a + step / 2, c, step), np.arange(b + step / 2, e, step))
    z = np.where(shapely.contains_xy(d.outline, x, y), d.thickness, -1.0)
    for s in d.solids:
        if s.kind in ("box", "round", "cylinder", "rod"):
            rows = slice(max(int((s.y0 - b) / step), 0), int((s.y1 - b) / step) + 1)
            columns = slice(max(int((s.x0 - a) / step), 0), int((s.x1 - a) / step) + 1)
            z[rows, columns] = np.maximum(z[rows, columns], d.thickness + s.z1)
    on = z >= 0
    return np.c_[x[on], y[on]], z[on]


def resting(d: Design, x: float, y: float, angle: float, heap: Sequence[tuple[Array, Array]], base: float) -> Array:
    """Pose (4, 4) of a board laid with its middle over (x, y): on the plane that supports its centroid."""
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    middle = np.array(d.outline.bounds).reshape(2, 2).mean(0)
    off = np.array([x, y]) - turn @ middle
    a = b = 0.0
    z = base
    if heap:
        points, heights = (np.concatenate([h[i] for h in heap]) for i in (0, 1))
        local = (points - off) @ turn
        under = shapely.contains_xy(d.outline.buffer(0.8), local[:, 0], local[:, 1])
        if under.any():
            grid, _ = height_map(d, 8.0)
            at = np.concatenate([local[under], grid])
            up = np.concatenate([heights[under] + 0.05, np.full(len(grid), base)])
            centre = np.array(d.outline.centroid.coords[0])
            found = linprog([0, 0, 1], A_ub=-np.c_[at - centre, np.ones(len(at))], b_ub=-up,
                            bounds=[(-0.6, 0.6)] * 2 + [(None, None)])  # fmt: skip
            a, b = found.x[:2]
            z = found.x[2] - a * centre[0] - b * centre[1]
    ex = np.array([1, 0, a]) / np.hypot(1, a)
    up_ = np.array([-a, -b, 1]) / np.sqrt(a * a + b * b + 1)
    pose = np.eye(4)
    about = np.eye(3)
    about[:2, :2] = turn
    pose[:3, :3] = about @ np.c_[ex, np.cross(up_, ex), up_]
    pose[:3, 3] = [off[0], off[1], z]
    return pose


def world_heights(d: Design, pose: Array) -> tuple[Array, Array]:
    """A placed board's upper surface in world coordinates."""
    points, heights = height_map(d)
    world = np.c_[points, heights] @ pose[:3, :3].T + pose[:3, 3]
    return world[:, :2], world[:, 2]


def apart(rng: np.random.Generator, shape: Any, others: Sequence[Any], gap: float, angle: float,
          start: tuple[float, float] = (0.0, 0.0)) -> tuple[float, float, Any]:  # fmt: skip
    """A place near a start where a turned shape about the origin is clear of others: x, y and the shape there."""
    turned = shapely.affinity.rotate(shape, np.degrees(angle), origin=(0, 0))
    for r in np.arange(0, 600, 5.0):
        for t in rng.permutation(24)[: 12 if r else 1]:
            x, y = float(start[0] + r * np.cos(t * np.pi / 12)), float(start[1] + r * np.sin(t * np.pi / 12))
            moved = shapely.affinity.translate(turned, x, y)
            if all(moved.distance(o) >= gap for o in others):
                return x, y, moved
    raise RuntimeError("no room on the table")


def target_sheet(rng: np.random.Generator) -> Target:
    """A printed target of invented size with markers of OpenCV's dictionary 5X5_100."""
    nx, ny, square = [(7, 5, 12.0), (7, 5, 15.0), (5, 4, 12.0), (8, 5, 20.0)][
        int(rng.choice(4, p=[0.45, 0.28, 0.17, 0.10]))
    ]
    per_mm, margin, band = (8 if square < 20 else 6), 6.0, 12.0
    marks = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    board = cv2.aruco.CharucoBoard((nx, ny), square, square * 0.75, marks)
    drawn = board.generateImage((int(nx * square * per_mm), int(ny * square * per_mm)), marginSize=0, borderBits=1)
    width, height = nx * square + 2 * margin, ny * square + 2 * margin + band
    full = np.full((int(height * per_mm), int(width * per_mm)), 0.84, np.float32)
    o = int(margin * per_mm)
    full[o : o + drawn.shape[0], o : o + drawn.shape[1]] = np.where(drawn > 127, 0.84, 0.035)
    patch = (width - 2 * margin) / 6
    for i, grey in enumerate((0.04, 0.09, 0.18, 0.32, 0.50, 0.70)):
        x, y = margin + i * patch, margin + ny * square + 3
        full[int(y * per_mm) : int((y + band - 3) * per_mm), int(x * per_mm) : int((x + patch) * per_mm)] = grey
    return Target(full, width, height, float(rng.uniform(0, 2 * np.pi)))


def rectangle(width: float, height: float, angle: float = 0.0, x: float = 0.0, y: float = 0.0) -> Any:
    """A turned rectangle about a point."""
    flat = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    return shapely.affinity.translate(shapely.affinity.rotate(flat, np.degrees(angle), origin=(0, 0)), x, y)


def heap(rng: np.random.Generator, designs: Sequence[Design], away: float) -> list[tuple[Design, Array]]:
    """Boards thrown onto each other, at a distance from the target."""
    around = float(rng.uniform(0, 2 * np.pi))
    centre = away * np.array([np.cos(around), np.sin(around)])
    made: list[tuple[Design, Array]] = []
    below: list[tuple[Array, Array]] = []
    for d in sorted(designs, key=lambda d: -d.outline.area * rng.uniform(0.6, 1.4)):
        for _ in range(8):
            x, y = centre + rng.normal(0, 24, 2)
            pose = resting(d, x, y, float(rng.uniform(0, 2 * np.pi)), below, BASE_MM)
            if pose[2, 2] > np.cos(np.radians(19)):
                break
        made.append((d, pose))
        below.append(world_heights(d, pose))
    return made


def side_by_side(rng: np.random.Generator, designs: Sequence[Design], target: Target | None, spread: float,
                 straight: bool) -> tuple[list[tuple[Design, Array]], list[Any]]:  # fmt: skip
    """Boards laid beside each other, and the shapes that they and the target cover."""
    taken: list[Any] = []
    if target is not None:
        taken.append(rectangle(target.width, target.height, target.angle))
    on_target = target is not None and rng.random() < 0.25
    angle = float(rng.uniform(0, 2 * np.pi))
    if target is not None and rng.random() < 0.65:
        angle = target.angle + float(rng.normal(0, 0.12))
    made: list[tuple[Design, Array]] = []
    placed: list[Any] = []
    for i, d in enumerate(designs):
        a, b, c, e = d.outline.bounds
        shape = shapely.box(-(c - a) / 2, -(e - b) / 2, (c - a) / 2, (e - b) / 2)
        turn = angle + float(rng.normal(0, spread)) + (np.pi if rng.random() < 0.3 else 0)
        if straight:
            turn = float(rng.normal(0, 0.03))
        if on_target and target is not None and i == 0:
            t = float(rng.uniform(0, 2 * np.pi))
            start = (target.width * 0.33 * float(np.cos(t)), target.height * 0.33 * float(np.sin(t)))
            x, y, at = apart(rng, shape, placed, 2, turn, start)
        else:
            begin = tuple(placed[-1].centroid.coords[0]) if placed else (0.0, 0.0)
            x, y, at = apart(rng, shape, taken + placed, float(rng.uniform(0.5, 14)), turn, begin)
        placed.append(at)
        lift = 0.0 if straight else float(rng.choice([0, 0, 0.6, 1.4]))
        made.append((d, resting(d, x, y, turn, [], BASE_MM + lift)))
    return made, taken + placed
