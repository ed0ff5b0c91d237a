"""Things beside the boards: coins, sheets of brass and copper, tape, papers, stickers, washers, loose pins."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import shapely

from .board import SceneMeshes
from .colours import LOOSE, PLASTIC_NAMES
from .design import CLASSES, WORDS
from .materials import metal, plating, single
from .mesh import MaterialMesh, palette_uv
from .place import apart, rectangle
from .shapes import Array, Flat, circle, poly_triangles, polygons, rounded, text_triangles
from .textures import TILE_MM, metal_tile, noise, normals

KINDS = ("coins", "coins", "sheet", "tape", "paper", "paper", "label", "washers", "pins")


@lru_cache(maxsize=24)
def _struck(number: int) -> Array:
    """Normals (n, n, 3) of a coin's face: rim, beads, digits and a figure."""
    rng, n, per_mm = np.random.default_rng([number, 41]), 448, 448 / 24.0
    height = np.zeros((n, n), np.float32)
    middle = n // 2
    cv2.circle(height, (middle, middle), int(0.47 * n), 0.12, max(n // 40, 2), cv2.LINE_AA)
    if rng.random() < 0.6:
        for t in np.linspace(0, 2 * np.pi, int(rng.integers(24, 70)), endpoint=False):
            at = (int(middle + 0.42 * n * np.cos(t)), int(middle + 0.42 * n * np.sin(t)))
            cv2.circle(height, at, max(n // 110, 2), 0.07, -1, cv2.LINE_AA)
    blob = (noise(rng, n, n, (n / 5, n / 14), (1.0, 0.5)) > 0.5) & (
        np.hypot(*np.ogrid[-1 : 1 : n * 1j, -1 : 1 : n * 1j]) < 0.6
    )
    height += 0.06 * cv2.GaussianBlur(blob.astype(np.float32), (0, 0), 3)
    text = str(rng.choice(["5", "10", "2", "50", "20", "1"]))
    digits = np.zeros((n, n), np.uint8)
    cv2.putText(digits, text, (int(0.3 * n), int(0.62 * n)), cv2.FONT_HERSHEY_COMPLEX, 3.2, 255, 7, cv2.LINE_AA)
    height += digits * np.float32(0.1 / 255)
    worn = cv2.GaussianBlur(height, (0, 0), float(rng.uniform(1.2, 3))) + noise(rng, n, n, (2, 9), (0.0015, 0.003))
    return normals(worn, per_mm)


def _coin(stock: SceneMeshes, rng: np.random.Generator, x: float, y: float, r: float, z: float) -> None:
    name = str(rng.choice(list(LOOSE)))
    kind, top, cls = LOOSE[name]
    number, thick = int(rng.integers(12)), float(rng.uniform(1.4, 2.4))
    disc = circle(x, y, r, 10)
    group, side = MaterialMesh(), MaterialMesh()
    turn = float(rng.uniform(0, 2 * np.pi))
    c, s = np.cos(turn), np.sin(turn)
    triangles = poly_triangles([disc])[0]
    local = (triangles.reshape(-1, 2) - (x, y)) @ np.array([[c, s], [-s, c]])
    group.flat(triangles, z + thick, CLASSES[cls], uv=local / (2 * r) + 0.5)
    rough = np.full((1, 1, 1), float(rng.uniform(0.08, 0.3)), np.float32)
    stock.put(f"coin{name}{number}", group, plating(kind, _struck(number), rough, single(top)))
    side.walls([disc.exterior], z, z + thick, CLASSES[cls], uv=(0.5, 0.5))
    stock.put(f"loose{name}", side, metal(kind, 0.2, top))


def _sheet(stock: SceneMeshes, rng: np.random.Generator, shape: Any, z: float) -> None:
    name = str(rng.choice(["brass", "dullbrass", "copper", "oldcopper", "brass"]))
    kind, top, cls = LOOSE[name]
    bump, rough = metal_tile(str(rng.choice(["smooth", "satin", "brushed", "scratched"])), int(rng.integers(4)))
    group = MaterialMesh()
    triangles = poly_triangles(polygons(shape))[0]
    group.flat(triangles, z + 0.4, CLASSES[cls], uv=triangles.reshape(-1, 2) / TILE_MM)
    dull = np.clip(np.array(top) * (1 + noise(rng, 240, 240, (6, 40), (0.05, 0.15)))[..., None], 0.05, 1)
    stock.put(f"sheet{name}", group, plating(kind, bump, np.clip(rough * rng.uniform(0.06, 0.3), 0.03, 0.6), dull))


def _flat_thing(stock: SceneMeshes, shape: Any, colour: str, z: float) -> None:
    group = MaterialMesh()
    group.prism(shape, 0.0, z, 0, palette_uv(PLASTIC_NAMES.index(colour)))
    stock.put("plastic", group)


def _label(stock: SceneMeshes, rng: np.random.Generator, x: float, y: float, w: float, h: float, turn: float) -> None:
    """A package's label: a coloured ground with letters and bars."""
    colour = str(rng.choice(["yellowpaper", "paper", "kraft", "goldpaint", "cream", "orange"]))
    _flat_thing(stock, rectangle(w, h, turn, x, y), colour, 0.12)
    layer, ink = Flat(), palette_uv(PLASTIC_NAMES.index("ink"))
    size = h * 0.16
    for k in range(3):
        layer.loose.append(text_triangles(str(rng.choice(WORDS)), size, -0.45 * w, 0.25 * h - 1.6 * k * size))
    at = 0.05 * w
    while at < 0.42 * w:
        layer.rects.append((at, -0.35 * h, at + 0.5, 0.1 * h))
        at += float(rng.choice([0.8, 1.2, 1.8]))
    c, s = np.cos(turn), np.sin(turn)
    group = MaterialMesh()
    triangles = layer.triangles()[0] @ np.array([[c, s], [-s, c]]) + (x, y)
    group.flat(triangles, 0.13, 0, uv=ink)
    stock.put("plastic", group)


def _pins(stock: SceneMeshes, rng: np.random.Generator, x: float, y: float, reach: float) -> None:
    """Loose pins and wires: plated ones count neither for nor against plating."""
    for _ in range(int(rng.integers(3, 14))):
        plated = bool(rng.random() < 0.5)
        length, r, turn = float(rng.uniform(4, 14)), float(rng.uniform(0.25, 0.5)), float(rng.uniform(0, 2 * np.pi))
        group, pose = MaterialMesh(), np.eye(4)
        group.rod(
            (-length / 2, -r, length / 2, r), 0.0, CLASSES["unknown"] if plated else CLASSES["part"], (0.5, 0.5)
        )
        c, s = np.cos(turn), np.sin(turn)
        pose[:2, :2] = [[c, -s], [s, c]]
        pose[:3, 3] = [x + rng.uniform(-reach, reach), y + rng.uniform(-reach, reach), r + 0.1]
        group.moved(pose)
        stock.put(
            "loosepins" if plated else "loosewires",
            group,
            metal("Au" if plated else "Ag", 0.18, 0.95 if plated else 0.7),
        )


def _put(
    stock: SceneMeshes, rng: np.random.Generator, kind: str, taken: list[Any], start: tuple[float, float]
) -> None:
    turn = float(rng.uniform(0, 2 * np.pi))
    r = float(rng.uniform(8, 14)) if kind == "coins" else float(rng.uniform(12, 45))
    w, h = (2 * r, 2 * r) if kind == "coins" else (2 * r, r * float(rng.uniform(0.5, 1.6)))
    if kind == "tape":
        w, h = float(rng.uniform(30, 140)), float(rng.choice([9, 12, 19, 25]))
    x, y, where = apart(rng, rectangle(w, h), taken, float(rng.uniform(0.5, 12)), turn, start)
    taken.append(where)
    if kind == "coins":
        _coin(stock, rng, x, y, r, 0.05)
    elif kind == "sheet":
        _sheet(stock, rng, where, 0.05)
    elif kind == "tape":
        _flat_thing(stock, where, str(rng.choice(["amber", "goldpaint", "kraft", "beige", "yellowpaper"])), 0.08)
    elif kind == "paper":
        colour = str(rng.choice(["yellowpaper", "kraft", "cream", "orange", "pink", "red", "ochre", "wood"]))
        rect = shapely.affinity.rotate(
            rounded(-w / 2, -h / 2, w / 2, h / 2, float(rng.choice([0, 3]))), np.degrees(turn), (0, 0)
        )
        _flat_thing(stock, shapely.affinity.translate(rect, x, y), colour, float(rng.uniform(0.1, 0.9)))
    elif kind == "label":
        _label(stock, rng, x, y, w, h, turn)
    elif kind == "washers":
        for _ in range(int(rng.integers(1, 5))):
            name, q = str(rng.choice(["brass", "dullbrass", "nickel"])), float(rng.uniform(2.5, 6))
            at = (x + float(rng.uniform(-r, r)) * 0.5, y + float(rng.uniform(-r, r)) * 0.5)
            group = MaterialMesh()
            ring = circle(*at, q, 8).difference(circle(*at, q * float(rng.uniform(0.3, 0.6)), 8))
            group.prism(ring, 0.05, float(rng.uniform(0.6, 1.5)), CLASSES[LOOSE[name][2]], (0.5, 0.5))
            stock.put(f"loose{name}", group, metal(LOOSE[name][0], 0.2, LOOSE[name][1]))
    else:
        _pins(stock, rng, x, y, r * 0.4)


def scatter(stock: SceneMeshes, rng: np.random.Generator, taken: Sequence[Any], hard: float) -> None:
    """Lay things beside the boards."""
    count = int(rng.choice([2, 3, 4, 6])) if hard else int(rng.choice([0, 0, 0, 1, 2]))
    covered = list(taken)
    for _ in range(count):
        near = covered[int(rng.integers(len(taken)))].centroid.coords[0] if taken else (0.0, 0.0)
        _put(stock, rng, str(rng.choice(KINDS)), covered, (float(near[0]), float(near[1])))
