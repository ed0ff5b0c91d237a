"""From a board's design to triangles and materials."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
import shapely
from shapely.geometry import box

from .colours import FILMS, LAMINATE_SHARES, LAMINATES, MASKS, METALS, PLASTIC_NAMES, PRINT
from .design import CLASSES, Design
from .materials import COVER, WEAVE, bumpy, lacquer, metal, picture, plating, single
from .mesh import MaterialMesh, palette_uv
from .shapes import Array, Flat, circle, poly_triangles, polygons, rounded
from .textures import TILE_MM, from_slopes, metal_tile, noise

TEXELS = 2.4e6  # largest number of texels of a board's pictures
MASK_UP, SILK_UP, METAL_UP = 0.02, 0.03, 0.035  # heights over the laminate
WALLS = {"gold": ("Au", 0.2, 1.0), "tin": ("Ag", 0.25, 0.7), "copper": ("Cu", 0.3, 0.7)}


@dataclass
class SceneMeshes:
    """Triangles and materials of a whole scene, by name."""

    groups: dict[str, MaterialMesh] = field(default_factory=dict)
    materials: dict[str, dict[str, Any]] = field(default_factory=dict)

    def put(self, name: str, group: MaterialMesh, material: dict[str, Any] | None = None) -> None:
        """Add triangles to a group, which gets its material from the first call."""
        if not group.count:
            return
        if material is not None:
            self.materials.setdefault(name, material)
        self.groups.setdefault(name, MaterialMesh()).take(group)


def _mask_pictures(d: Design, rng: np.random.Generator) -> tuple[Array, Array]:
    """Colour and normals of the solder mask with the copper under it."""
    width, height = d.size
    per_mm = float(np.clip(np.sqrt(TEXELS / (width * height)), 6, 20))
    h, w = int(np.ceil(height * per_mm)), int(np.ceil(width * per_mm))
    copper = np.zeros((h, w), np.float32)
    lines = [(np.round(np.asarray(p) * per_mm * 16).astype(np.int32), wide) for p, wide in d.traces]
    if d.planes:
        for a, b, c, e in d.planes:
            copper[max(int(b * per_mm), 0) : int(e * per_mm), max(int(a * per_mm), 0) : int(c * per_mm)] = 1
        gaps = np.zeros_like(copper)
        for points, wide in lines:
            cv2.polylines(gaps, [points], isClosed=False, color=1.0, thickness=max(int((wide + 0.4) * per_mm), 1),
                          lineType=cv2.LINE_AA, shift=4)  # fmt: skip
        copper *= 1 - gaps
    for points, wide in lines:
        cv2.polylines(copper, [points], isClosed=False, color=1.0, thickness=max(round(wide * per_mm), 1),
                      lineType=cv2.LINE_AA, shift=4)  # fmt: skip
    bare, over = (np.asarray(c, np.float32) for c in MASKS[d.mask])
    mottled = 1 + noise(rng, h, w, (6, 60, 500), (0.025, 0.03, 0.05))
    colour = (bare + (over - bare) * copper[..., None]) * mottled[..., None]
    relief = 0.018 * cv2.GaussianBlur(copper, (0, 0), 1.6 * per_mm / 20) + noise(rng, h, w, (8, 30), (0.0005, 0.0012))
    gx = cv2.Sobel(relief, cv2.CV_32F, 1, 0, scale=per_mm / 8)
    gy = cv2.Sobel(relief, cv2.CV_32F, 0, 1, scale=per_mm / 8)
    return np.clip(colour, 0.001, 0.95), from_slopes(gx, gy)


def _bow(rng: np.random.Generator, points: Array, size: tuple[float, float]) -> Array:
    """Slopes (n, 2) of a board that is not quite flat."""
    out = np.zeros_like(points)
    for _ in range(3):
        k = rng.normal(0, 2 * np.pi / max(size) * 2.2, 2)
        phase = points @ k + rng.uniform(0, 6.3)
        out += np.cos(phase)[:, None] * k / np.linalg.norm(k) * 0.004
    return out


def _gold(d: Design, rng: np.random.Generator) -> tuple[dict[str, Any], float]:
    """Material of plating, and the tilt of its pieces against each other."""
    kind = str(rng.choice(["smooth", "satin", "brushed", "scratched", "pitted"], p=[0.24, 0.4, 0.12, 0.16, 0.08]))
    alpha = {"smooth": rng.uniform(0.03, 0.1), "satin": rng.uniform(0.1, 0.35), "brushed": rng.uniform(0.08, 0.22),
             "scratched": rng.uniform(0.06, 0.22), "pitted": rng.uniform(0.12, 0.3)}[kind]  # fmt: skip
    d.looks.append(f"gold {kind}")
    bump, rough = metal_tile(kind, int(rng.integers(4)))
    h = w = int(TILE_MM * COVER * 4)
    wear = float(rng.choice([0.3, 1.0, 1.6]))
    smear = noise(rng, h, w, (12, 50), (0.6, 1))
    lengthways = noise(rng, h, w, (2, 4), (0.3, 0.3)) if d.contacts else np.zeros_like(smear)
    grime = np.clip(1 - 0.16 * wear * np.clip(smear - 0.3, 0, 2) - 0.03 * wear * np.abs(lengthways), 0.35, 1)
    grime *= rng.uniform(0.93, 1)
    tint = np.stack([grime, grime**1.35, grime**1.8], -1)
    if rng.random() < 0.2:
        tint = tint * _tarnish(rng, h, w)
        d.looks.append("gold browned")
    material = plating("Au", bump, np.clip(alpha * rough, 0.02, 0.6), np.clip(tint, 0.02, 1))
    return material, float(rng.choice([0.004, 0.01, 0.02, 0.035]))


def _tarnish(rng: np.random.Generator, h: int, w: int) -> Array:
    """Brown films in patches, or over a whole board, stronger on one side."""
    brown = np.array(FILMS[int(rng.integers(len(FILMS)))])
    way = rng.uniform(0, 2 * np.pi)
    ramp = np.cos(way) * np.linspace(-1, 1, w)[None] + np.sin(way) * np.linspace(-1, 1, h)[:, None]
    share = np.clip(0.5 + rng.uniform(0.3, 1.5) * ramp + noise(rng, h, w, (10, 60), (0.25, 0.4)), 0, 1)
    return np.asarray(1 - share[..., None] * (1 - brown) * rng.uniform(0.4, 1))


def _materials(d: Design, rng: np.random.Generator) -> tuple[dict[str, dict[str, Any]], float]:
    gold, tilt = _gold(d, rng)
    level = rng.uniform(0.75, 1.15)
    laminate_rgb = np.array(LAMINATES[int(rng.choice(len(LAMINATES), p=LAMINATE_SHARES))])
    weave = 1 + noise(rng, 256, 256, (1.5, 20), (0.04, 0.05))[..., None]
    laminate = picture(np.clip(laminate_rgb * level * weave, 0.02, 0.9), WEAVE)
    bump, rough = metal_tile("satin", int(rng.integers(4)))
    tin_rgb = np.array([0.74, 0.74, 0.76]) * rng.uniform(0.7, 1.05) * np.exp(rng.normal(0, 0.03, 3))
    tin = plating("Ag", bump, np.clip(rough * rng.uniform(0.1, 0.32), 0.03, 0.6), single(np.clip(tin_rgb, 0, 1)))
    dull = np.clip(0.78 + noise(rng, 720, 720, (6, 30, 150), (0.05, 0.06, 0.12)), 0.2, 1)[..., None]
    oxide = np.array([[0.9, 0.85, 0.8], [0.7, 0.5, 0.4], [1.0, 0.95, 0.9], [0.45, 0.32, 0.25]])[int(rng.integers(4))]
    copper = plating("Cu", bump, np.clip(rough * rng.uniform(0.15, 0.35), 0.03, 0.6), np.clip(dull * oxide, 0, 1))
    made = {
        "gold": gold, "tin": tin, "copper": copper,
        "laminate": lacquer(laminate, float(rng.uniform(0.2, 0.45))),
        "edge": lacquer(picture(single(np.clip(laminate_rgb * level * [0.95, 0.93, 0.85], 0, 0.9))), 0.35),
        "print": lacquer(picture(single(PRINT[d.silk_colour])), 0.45),
    }  # fmt: skip
    if d.mask != "none":
        colour, relief = _mask_pictures(d, rng)
        made["mask"] = bumpy(lacquer(picture(colour), float(rng.uniform(0.05, 0.25))), picture(relief))
    return made, tilt


def _metal_layers(
    d: Design, rng: np.random.Generator, number: int, tilt: float, groups: dict[str, MaterialMesh]
) -> None:
    shift = rng.uniform(0, 1, 2)
    for k, (name, layer) in enumerate(d.metals.items()):
        if not layer:
            continue
        triangles, owner = layer.triangles()
        each = rng.normal(0, tilt, (int(owner.max()) + 1, 2))[owner]
        if name == "tin":  # solder stands in drops
            each = each * 3
        slope = np.repeat(each, 3, 0) + _bow(rng, triangles.reshape(-1, 2), d.size)
        normal = np.c_[-slope, np.ones(len(slope))]
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        group = groups.setdefault("gold" if name.startswith("gold") else name, MaterialMesh())
        code = 16 * number + CLASSES[name]
        uv = triangles.reshape(-1, 2) / TILE_MM + shift
        group.flat(triangles, d.thickness + METAL_UP - 0.001 * k, code, uv=uv, normals=normal)


def _bevelled(d: Design, body: Any, group: MaterialMesh, number: int) -> None:
    """The laminate: its face, edges and, along y = 0, a sloping bevel."""
    size, code, top = np.array([TILE_MM, TILE_MM]), 16 * number + CLASSES["laminate"], d.thickness
    flat, rise = body, min(0.6, top * 0.4)
    if d.bevel_mm:
        width = d.size[0]
        flat = body.intersection(box(-1, d.bevel_mm, width + 1, 1e4))
        slope = body.intersection(box(-1, -1, width + 1, d.bevel_mm))
        triangles = poly_triangles(polygons(slope))[0]
        points = triangles.reshape(-1, 2)
        heights = top - 0.004 - rise * (1 - points[:, 1] / d.bevel_mm)
        tip = np.array([0, -rise, d.bevel_mm]) / np.hypot(rise, d.bevel_mm)
        group.flat(triangles, heights, code, size, normals=tip)
    group.flat(poly_triangles(polygons(flat))[0], top - 0.004, code, size)


def add_board(stock: SceneMeshes, d: Design, rng: np.random.Generator, pose: Array, number: int) -> None:
    """Add a board to a scene under its number (from 1)."""
    materials, tilt = _materials(d, rng)
    size, top, code = np.array(d.size), d.thickness, 16 * number
    groups: dict[str, MaterialMesh] = {k: MaterialMesh() for k in ("laminate", "edge", "mask", "print")}
    body = d.body()
    _bevelled(d, body, groups["laminate"], number)
    for p in polygons(body):
        outer = shapely.geometry.polygon.orient(p).exterior
        low = top - 0.65 if d.bevel_mm else top
        groups["edge"].walls([outer], 0, min(low, top), code + CLASSES["laminate"], size)
        if not d.bevel_mm:
            continue
        straight = [q for q in (outer.intersection(box(-1, d.bevel_mm, size[0] + 1, 1e4)),) if not q.is_empty]
        for line in (g for q in straight for g in getattr(q, "geoms", [q]) if g.geom_type == "LineString"):
            groups["edge"].walls([line], low, top, code + CLASSES["laminate"], size)
    if d.mask != "none":
        groups["mask"].flat(poly_triangles(polygons(d.covered()))[0], top + MASK_UP, code + CLASSES["mask"], size)
    if d.silk:
        groups["print"].flat(d.silk.triangles()[0], top + SILK_UP, code + CLASSES["print"], size)
    _metal_layers(d, rng, number, tilt, groups)
    for name, group in groups.items():
        group.moved(pose)
        stock.put(f"board{number}_{name}", group, materials[name] if group.count else None)
    _holes(stock, d, pose, number, materials["edge"])
    _solids(stock, d, pose, number)


def _holes(stock: SceneMeshes, d: Design, pose: Array, number: int, bare: dict[str, Any]) -> None:
    by_wall: dict[str | None, MaterialMesh] = {}
    for shape, wall in d.holes:
        name = {"gold": "unknown", "tin": "tin", "copper": "copper", None: "laminate"}[wall]
        ring = shapely.geometry.polygon.orient(shape, -1).exterior
        group = by_wall.setdefault(wall, MaterialMesh())
        group.walls([ring], 0, d.thickness + MASK_UP, 16 * number + CLASSES[name], np.array(d.size))
    for wall, group in by_wall.items():
        group.moved(pose)
        if wall is None:
            stock.put(f"board{number}_edge", group, bare)
        else:
            stock.put(f"wall_{wall}", group, metal(*WALLS[wall]))


def _solids(stock: SceneMeshes, d: Design, pose: Array, number: int) -> None:
    groups: dict[str, MaterialMesh] = {}
    boxes: dict[str, list[tuple[Any, ...]]] = {}
    for s in d.solids:
        name = s.material if s.material in METALS else "plastic"
        kind = METALS[s.material][3] if s.material in METALS else "part"
        uv = (0.5, 0.5) if s.material in METALS else palette_uv(PLASTIC_NAMES.index(s.material))
        code, z0, z1 = 16 * number + CLASSES[kind], d.thickness + s.z0, d.thickness + s.z1
        rect = (s.x0, s.y0, s.x1, s.y1)
        if s.kind == "box":
            boxes.setdefault(name, []).append((rect, z0, z1, uv, code))
            continue
        group = groups.setdefault(name, MaterialMesh())
        x, y, r = (s.x0 + s.x1) / 2, (s.y0 + s.y1) / 2, (s.x1 - s.x0) / 2
        if s.kind == "rod":
            group.rod(rect, (z0 + z1) / 2, code, uv)
        elif s.kind == "round":
            group.prism(rounded(*rect, 0.45 * min(s.x1 - s.x0, s.y1 - s.y0), 6), z0, z1, code, uv)
        elif s.kind == "cylinder":
            t = np.arange(s.sides) * 2 * np.pi / s.sides
            group.prism(shapely.Polygon(np.c_[x + r * np.cos(t), y + r * np.sin(t)]), z0, z1, code, uv)
        else:
            shape = circle(x, y, r, 6)
            if s.kind == "half":
                shape = shape.intersection(box(x - r, y + r * 0.35, x + r, y + r))
            layer = Flat()
            layer.shapes.append(shape)
            group.flat(layer.triangles()[0], z1, code, uv=uv)
    for name, rows in boxes.items():
        rects, low, high, uvs, codes = (np.array(column) for column in zip(*rows, strict=True))
        groups.setdefault(name, MaterialMesh()).boxes(rects, low, high, uvs, codes)
    for m in d.marks:
        uv = palette_uv(PLASTIC_NAMES.index(m.material))
        groups.setdefault("plastic", MaterialMesh()).flat(
            m.triangles, d.thickness + m.z, 16 * number + CLASSES["part"], uv=uv
        )
    for name, group in groups.items():
        group.moved(pose)
        stock.put(name, group, metal(*METALS[name][:3]) if name in METALS else None)
