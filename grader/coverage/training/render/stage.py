"""One scene: which boards, where they lie, on what table; built once, seen several times."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from . import breakouts, cards
from .board import Stock, add_board
from .camera import Camera
from .design import CLASSES, Design
from .engine import mi
from .light import Lit, observer
from .materials import every_kind, lacquer, matt, palette, picture, single
from .mesh import Group, sheet
from .place import Target, heap, side_by_side, target_sheet
from .shapes import Array
from .textures import table_picture

FAMILIES = ("memory", "expansion", "widepitch", "strip", "breakout", "negative")
SCENES = (*FAMILIES, "pile", "mixed")
ANCHOR = 160  # more materials than a scene holds
AIM = {"paper": 0.46, "wood": 0.22, "mat": 0.18, "cloth": 0.12, "lid": 0.5}  # mean radiance that a phone exposes for


def make_design(family: str, rng: np.random.Generator, hard: float) -> Design:
    """A board of a family."""
    if family == "breakout":
        return breakouts.breakout(rng, hard)
    if family == "negative":
        u = rng.random()
        if u < 0.35:
            return cards.memory(rng, hard, tin=True)
        return breakouts.breakout(rng, hard, "tin" if u < 0.8 else "copper")
    makers = {"memory": cards.memory, "expansion": cards.expansion, "widepitch": cards.widepitch, "strip": cards.strip}
    return makers[family](rng, hard)


@dataclass(frozen=True)
class Stage:
    """A scene without light and camera.

    Attributes:
        meshes: what stands there, with the codes of the faces.
        boards: designs and poses.
        points: world points (n, 3) that a first view frames.
        table: kind of table.
        skin: palette for the observer.
        scan: whether it lies on a scanner.
    """

    meshes: list[tuple[Any, Array]]
    boards: list[tuple[Design, Array]]
    points: Array
    table: str
    skin: dict[str, Any]
    scan: bool


def _families(rng: np.random.Generator, scene: str) -> list[str]:
    if scene == "pile":
        pool = ["memory", "memory", "strip", "breakout", "widepitch", "negative", "expansion"]
        return [str(f) for f in rng.choice(pool, int(rng.integers(3, 7)))]
    if scene == "mixed":
        pool = ["memory", "strip", "breakout", "negative", "breakout", "memory"]
        return [str(f) for f in rng.choice(pool, int(rng.integers(2, 5)))]
    many = {"memory": (1, 1, 2, 3, 4), "strip": (1, 2), "breakout": (1, 1, 2, 3), "negative": (1, 2)}
    return [scene] * int(rng.choice(many.get(scene, (1,))))


def _lay(rng: np.random.Generator, scene: str, scan: bool, hard: float) -> tuple[list[tuple[Design, Array]], Target | None]:
    names = [scene if scene in FAMILIES else str(rng.choice(FAMILIES))] if scan else _families(rng, scene)
    designs = [make_design(f, rng, hard) for f in names]
    target = target_sheet(rng) if not scan and rng.random() < 0.6 else None
    if scene == "pile" and not scan:
        away = 75.0 + float(np.hypot(target.width, target.height)) / 2 if target else 0.0
        return heap(rng, designs, away), target
    spread = 0.04 if scene == "memory" else 0.6 if scene == "mixed" else 0.15
    return side_by_side(rng, designs, target, spread, scan)[0], target


def _table(rng: np.random.Generator, kind: str, size: float, at: Array) -> dict[str, tuple[Group, dict[str, Any]]]:
    pose = np.eye(4)
    turn = float(rng.uniform(0, 2 * np.pi))
    pose[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    pose[:2, 3] = at[:2]
    if kind == "lid":
        top = matt(picture(single(float(rng.choice([0.86, 0.04])))))
    else:
        tint = np.clip(np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.05, 3)), 0, 1.2).astype(np.float32)
        drawn = picture(np.clip(table_picture(kind, int(rng.integers(6)), size) * tint, 0.003, 0.92))
        top = matt(drawn) if kind in ("paper", "cloth") else lacquer(drawn, float(rng.uniform(0.18, 0.42)))
    far = pose.copy()
    far[2, 3] = -0.5
    grey = {"paper": 0.7, "wood": 0.2, "mat": 0.12, "cloth": 0.04, "lid": 0.5}.get(kind, 0.2)
    return {
        "table": (sheet(pose, size, size), top),
        "floor": (sheet(far, 4000, 4000), matt(picture(single(grey)))),
    }


def build(rng: np.random.Generator, scene: str, scan: bool, hard: float) -> Stage:
    """Draws a scene and builds its meshes."""
    boards, target = _lay(rng, scene, scan, hard)
    points = []
    for d, pose in boards:
        corners = np.asarray(d.outline.envelope.exterior.coords)[:4]
        points.append(np.c_[corners, np.full(4, d.thickness)] @ pose[:3, :3].T + pose[:3, 3])
    stock = Stock()
    if target is not None:
        c, s = np.cos(target.angle), np.sin(target.angle)
        pose = np.eye(4)
        pose[:2, :2] = [[c, -s], [s, c]]
        pose[2, 3] = 0.1
        group = sheet(pose, target.width, target.height, CLASSES["target"])
        points.append(group.vertices[0])
        stock.put("target", group, matt(picture(np.repeat(target.picture[::-1, :, None], 3, 2))))
    framed = np.concatenate(points)
    kind = "lid" if scan else str(rng.choice(["wood", "wood", "paper", "mat", "cloth"]))
    middle = framed.mean(0)
    for name, (group, material) in _table(rng, kind, 1100.0, middle).items():
        stock.put(name, group, material)
    for i, (d, pose) in enumerate(boards):
        add_board(stock, d, rng, pose, i + 1)
    colours = palette(rng)
    skin = matt(picture(colours, nearest=True))
    stock.materials["plastic"] = lacquer(picture(colours, nearest=True), float(rng.uniform(0.15, 0.35)))
    return Stage(_meshes(stock), boards, framed, kind, skin, scan)


def _meshes(stock: Stock) -> list[tuple[Any, Array]]:
    made = []
    for i, material in enumerate(every_kind()):  # out of sight: so that all scenes hold the same kinds
        pose = np.eye(4)
        pose[2, 3] = -20.0 - i
        made.append(sheet(pose, 1, 1).build(f"kind{i}", mi.load_dict(material)))
    for name, group in stock.groups.items():
        made.append(group.build(name, mi.load_dict(stock.materials[name])))
    return made


@lru_cache(maxsize=1)
def anchors() -> list[Any]:
    """A material, mesh and lamp with high numbers among their kind.

    Kernels hold tables as long as the highest number in use. With something that always holds a high one, scenes of
    few and of many materials run the same kernels.
    """
    light = {"type": "area", "radiance": picture(single(0.0)), "sampling_weight": 0.0}
    made = []
    for i in range(ANCHOR):
        lamp = mi.load_dict(light) if i < ANCHOR // 4 else None
        made.append(sheet(np.eye(4), 1, 1).build(f"anchor{i}", mi.load_dict(every_kind()[1]), lamp)[0])
    return [made[ANCHOR // 4 - 1], made[-1]]


def assemble(stage: Stage, lit: Lit, camera: Camera, rng: np.random.Generator) -> Any:
    """The scene as the renderer wants it, for one view."""
    anchors()
    entries: dict[str, Any] = {"type": "scene"}
    entries.update({f"mesh{i}": mesh for i, (mesh, _) in enumerate(stage.meshes)})
    if not stage.scan:
        entries["observer"] = observer(rng, camera).build("observer", mi.load_dict(stage.skin))[0]
    entries.update(lit.entries)
    return mi.load_dict(entries, optimize=False)
