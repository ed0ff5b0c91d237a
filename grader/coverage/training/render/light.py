"""Light and the surroundings of the camera: rooms, windows, lamps, flash; the phone, the hand, the person."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import cv2
import numpy as np

from .camera import Camera
from .engine import mi
from .materials import matt, picture, rgb, single
from .mesh import MaterialMesh
from .shapes import Array, rect_triangles

LAMPS = 4
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
# colour temperature from and to, radiance of the room
SOURCES = {
    "softbox": (4800, 6200, 0.35), "window": (5500, 7500, 0.28), "ceiling": (3000, 4600, 0.30),
    "desk_lamp": (2600, 3600, 0.16), "near_lamp": (2700, 6000, 0.2), "flash": (5500, 5700, 0.10),
    "overcast": (6000, 7500, 1.0), "mixed": (5200, 6800, 0.35), "scanner": (6000, 6000, 0.25),
}  # fmt: skip
LIGHTS = ("softbox", "window", "ceiling", "desk_lamp", "near_lamp", "flash", "overcast", "mixed")
LIGHT_SHARES = (0.20, 0.20, 0.13, 0.11, 0.10, 0.09, 0.08, 0.09)
PAINTS = ((1.0, 0.35, 0.3), (0.4, 0.8, 0.45), (1.0, 0.55, 0.65), (1.0, 0.85, 0.6), (0.35, 0.5, 0.9), (0.9, 0.5, 0.2),
          (0.1, 0.1, 0.1))  # fmt: skip
WARM_SHARES = (0.06, 0.06, 0.25, 0.30, 0.20, 0.05, 0.0, 0.08)  # for scenes of tin that could be taken for gold


@dataclass(frozen=True)
class Lit:
    """Light of one view: entries of the scene and the colour temperature that a camera would see."""

    entries: dict[str, Any]
    kelvin: float
    kind: str


def planck(kelvin: float) -> Array:
    """Linear sRGB of a black body of luminance 1 (a fit of the Planckian locus in x, y)."""
    t = 1000.0 / kelvin
    if kelvin < 4000:
        x = -0.2661239 * t**3 - 0.2343589 * t**2 + 0.8776956 * t + 0.179910
        y = -0.9549476 * x**3 - 1.37418593 * x**2 + 2.09137015 * x - 0.16748867
    else:
        x = -3.0258469 * t**3 + 2.1070379 * t**2 + 0.2226347 * t + 0.24039
        y = 3.081758 * x**3 - 5.8733867 * x**2 + 3.75112997 * x - 0.37001483
    xyz = np.array([x / y, 1, (1 - x - y) / y])
    to_rgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    return np.asarray(np.clip(to_rgb @ xyz, 0.02, None))


def facing(position: Any, at: Any) -> Array:
    """A pose whose z looks from a position to a point."""
    z = np.asarray(at, float) - position
    z /= np.linalg.norm(z)
    x = np.cross([0, 0, 1.0], z)
    x = np.array([1.0, 0, 0]) if np.linalg.norm(x) < 1e-6 else x / np.linalg.norm(x)
    pose = np.eye(4)
    pose[:3, 0], pose[:3, 1], pose[:3, 2], pose[:3, 3] = x, np.cross(z, x), z, position
    return pose


def lamp(pose: Array, width: float, height: float, radiance: Array, weight: float, panes: int = 1) -> Any:
    """A lit rectangle about the origin of a pose, facing its z, or a window of panes × panes.

    Its radiance is the same everywhere: to find a place in a picture on a mesh, Mitsuba traces a scene of its own,
    which OptiX switches off inside the kernel of another, and the light would be lost.
    """
    rects = [
        ((i + 0.06) * width / panes - width / 2, (j + 0.06) * height / panes - height / 2,
         (i + 0.94) * width / panes - width / 2, (j + 0.94) * height / panes - height / 2)
        for i in range(panes) for j in range(panes)
    ]  # fmt: skip
    made = MaterialMesh()
    made.flat(rect_triangles(rects), 0.0, 0, uv=(0.5, 0.5))
    made.moved(pose)
    emitter = {"type": "area", "radiance": rgb(radiance), "sampling_weight": weight}
    return made.build("lamp", mi.load_dict(matt(picture(single(0.0)))), mi.load_dict(emitter))[0]


def _out_of_sight(position: Array, centre: Array, camera: Camera, size: float) -> Array:
    """Move a lamp aside until it is neither in the picture nor in front of it."""
    aside = position - centre
    aside = np.array([aside[0], aside[1], 0.0])
    aside = aside / max(float(np.linalg.norm(aside)), 1e-6)
    for _ in range(60):
        ahead = (position - camera.position) @ camera.axes[2]
        half = (camera.width / 2, camera.height / 2)
        seen = np.abs(camera.project(position[None])[0] - half)
        room_px = 0.8 * size * (camera.px_per_mm or (camera.focal_px or 1) / max(float(ahead), 1.0))
        if ahead < -size or bool((seen > np.array(half) + room_px).any()):
            break
        position = position + aside * max(size * 0.5, 10.0)
    return np.asarray(position)


def room(rng: np.random.Generator, level: float, kelvin: float) -> Array:
    """A picture all round: ceiling, walls with furniture, floor; radiance (h, w, 3)."""
    h, w = 256, 512
    up = 90 - (np.arange(h) + 0.5) * 180 / h
    wall = np.array([0.34, 0.32, 0.29]) * rng.uniform(0.5, 1.3)
    ceiling = float(rng.choice([0.95, 0.6, 0.3, 0.15, 0.04])) * np.ones(3)
    if rng.random() < 0.3:  # painted, panelled, draped
        paint = np.array(PAINTS[int(rng.integers(len(PAINTS)))])
        wall = wall * paint * 1.4
        ceiling = ceiling * (paint if rng.random() < 0.5 else 1)
    bands = np.where((up > 38)[:, None], ceiling, np.where((up > -5)[:, None], wall, 0.10 * np.ones(3)))
    made = np.repeat(bands[:, None].astype(np.float32), w, 1)
    for _ in range(int(rng.integers(6, 12))):
        x, wide, high = int(rng.integers(0, w)), int(rng.integers(15, 70)), int(rng.integers(15, 55))
        y = 128 - high - int(rng.integers(0, 12))
        colour = np.array([0.10, 0.08, 0.07]) * rng.uniform(0.2, 3) * rng.uniform(0.7, 1.3, 3)
        made[y:130, np.arange(x, x + wide) % w] = colour
    for _ in range(int(rng.integers(0, 3))):
        x = int(rng.integers(0, w))
        made[0:70, np.arange(x, x + 14) % w] *= 0.45
    made = cv2.GaussianBlur(np.concatenate([made] * 3, 1), (0, 0), 2.5)[:, w : 2 * w]
    made = made * (1 + 0.35 * np.cos(np.arange(w) / w * 2 * np.pi + rng.uniform(0, 6.3)))[None, :, None]
    return np.asarray(made * level * (planck(kelvin) * 0.6 + 0.4), np.float32)


class _Source(NamedTuple):
    position: Array
    width: float
    height: float
    radiance: Array
    panes: int = 1


def _plain(kelvin: float, level: float) -> Array:
    return np.asarray(planck(kelvin) * level)


def _side(angle: float) -> Array:
    return np.array([np.cos(angle), np.sin(angle), 0.0])


def _large(rng: np.random.Generator, kind: str, centre: Array, kelvin: float) -> list[_Source]:
    """Softboxes, windows and lights of the ceiling."""
    around, made = rng.uniform(0, 2 * np.pi), []
    if kind == "softbox":
        at = centre + _side(around) * rng.uniform(200, 520) + [0, 0, rng.uniform(500, 850)]
        width, height = (float(v) for v in rng.uniform(280, 600, 2))
        made.append(_Source(at, width, height, _plain(kelvin, rng.uniform(5, 9))))
    if kind in ("window", "mixed"):
        at = centre + _side(around) * rng.uniform(1100, 1900) + [0, 0, rng.uniform(450, 1000)]
        made.append(_Source(at, 1000, 1300, _plain(kelvin, rng.uniform(9, 15)), 2))
    if kind == "ceiling":
        for i in range(int(rng.integers(1, 4))):
            at = centre + [rng.uniform(-900, 900), rng.uniform(-900, 900), 1650]
            width, height = (1200, 160) if i % 2 else (600, 600)
            made.append(_Source(at, width, height, _plain(kelvin, rng.uniform(8, 14))))
    if kind == "scanner":
        made = [_Source(centre + [0, way * 500, 500], 1600, 120, _plain(kelvin, 9.0)) for way in (-1, 1)]
    return made


def _small(rng: np.random.Generator, kind: str, centre: Array, kelvin: float) -> list[_Source]:
    """Lamps at a table."""
    around, made = rng.uniform(0, 2 * np.pi), []
    if kind in ("desk_lamp", "mixed"):
        size, level, colour = (90.0, 1.0, kelvin) if kind == "desk_lamp" else (70.0, 0.35, 2900.0)
        at = centre + _side(around) * rng.uniform(130, 330) + [0, 0, rng.uniform(220, 440)]
        made.append(_Source(at, size, size, _plain(colour, rng.uniform(50, 80) * level)))
    if kind == "near_lamp":  # bright and close to the board: half a row burns out, half stays brown
        at = centre + _side(around) * rng.uniform(30, 170) + [0, 0, rng.uniform(50, 170)]
        size = float(rng.uniform(8, 45))
        light = _plain(kelvin, rng.uniform(12, 60) * (45 / size))
        made.append(_Source(at, size, float(rng.uniform(8, 45)), light))
    return made


def light_up(rng: np.random.Generator, kind: str, centre: Array, camera: Camera) -> Lit:
    """Light for one view. Radiances are relative: exposure is set from the picture."""
    low, high, level = SOURCES[kind]
    kelvin, level = float(rng.uniform(low, high)), level * float(rng.uniform(0.7, 1.3))
    walls = room(rng, level, kelvin) if kind != "scanner" else np.full((256, 512, 3), level, np.float32)
    daylight = np.pi * float((walls.mean((0, 1)) * LUMINANCE).sum())
    sources = _large(rng, kind, centre, kelvin) + _small(rng, kind, centre, kelvin)
    for i, s in enumerate(sources):
        clear = _out_of_sight(s.position, centre, camera, max(s.width, s.height))
        sources[i] = s._replace(position=clear)
    if kind == "flash":
        near = (float(np.linalg.norm(camera.position - centre)) / 300) ** 2
        at = camera.position + camera.axes[0] * 13 + [0, 3, 2]
        sources.append(_Source(at, 6, 6, _plain(kelvin, rng.uniform(4500, 6500) * near)))
    lamps = []
    for s in sources:  # sampled in proportion to their light at the board
        way = s.position - centre
        given = float(s.radiance @ LUMINANCE) * s.width * s.height * abs(way[2])
        weight = float(np.clip(given / float(np.linalg.norm(way)) ** 3 / daylight, 0.15, 6))
        lamps.append(lamp(facing(s.position, centre), s.width, s.height, s.radiance, weight, s.panes))
    while len(lamps) < LAMPS:  # dark and never sampled: with a constant number of lamps, kernels stay the same
        lamps.append(lamp(facing(centre - [0, 0, 50.0 + len(lamps)], centre), 1, 1, np.zeros(3), 0.0))
    turn = mi.ScalarTransform4f().rotate([0, 0, 1], float(rng.uniform(0, 360))).rotate([1, 0, 0], 90)
    entries = {f"lamp{i}": made for i, made in enumerate(lamps)}
    entries["env"] = {"type": "envmap", "bitmap": mi.Bitmap(walls), "to_world": turn}
    return Lit(entries, kelvin, kind)
