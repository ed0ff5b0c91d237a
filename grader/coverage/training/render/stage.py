"""One scene: its boards, their places, and the table; built once, seen several times."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import shapely

from .around import scatter
from .board import SceneMeshes, add_board
from .camera import Camera
from .design import CLASSES, Design
from .engine import mi
from .families import draw_boards
from .light import Lit, lamp
from .materials import every_kind, lacquer, matt, palette, picture, single
from .mesh import MaterialMesh, sheet
from .place import Target, heap, rectangle, side_by_side, target_sheet
from .shapes import Array
from .surroundings import beside, observer, things
from .tables import table_picture

ANCHOR = 160  # more materials than a scene holds
TABLES = {"wood": 0.24, "paper": 0.17, "mat": 0.12, "cloth": 0.10, "warmcloth": 0.07, "brick": 0.05, "carpet": 0.07,
          "weave": 0.05, "leather": 0.04, "card": 0.09}  # fmt: skip
AIM = {"paper": 0.46, "wood": 0.22, "mat": 0.18, "cloth": 0.12, "lid": 0.5}  # mean radiance that a phone exposes for


@dataclass(frozen=True)
class Scene:
    """A scene without light and camera.

    Attributes:
        meshes: of all things there, with the codes of the faces.
        boards: designs and poses.
        points: world points (n, 3) that the first view frames.
        table: kind of table.
        skin: palette for the observer.
        scan: whether it lies on a scanner.
        warm: whether warm light suits it: tin that could be taken for gold.
    """

    meshes: list[tuple[Any, Array]]
    boards: list[tuple[Design, Array]]
    points: Array
    table: str
    skin: dict[str, Any]
    scan: bool
    warm: bool


def _lay(
    rng: np.random.Generator, scene: str, scan: bool, hard: float
) -> tuple[list[tuple[Design, Array]], Target | None]:
    designs = draw_boards(rng, scene, scan=scan, hard=hard)
    target = target_sheet(rng) if not scan and rng.random() < 0.6 else None
    if scene == "pile" and not scan:
        away = 75.0 + float(np.hypot(target.width, target.height)) / 2 if target else 0.0
        return heap(rng, designs, away), target
    spread = 0.04 if scene == "memory" else 0.6 if scene == "mixed" else 0.15
    return side_by_side(rng, designs, target, spread, scan)[0], target


def _shadow(d: Design, pose: Array) -> Any:
    """The part of the table that a board covers."""
    corners = np.asarray(d.outline.envelope.exterior.coords)[:4]
    flat = np.c_[corners, np.full(4, d.thickness)] @ pose[:3, :3].T + pose[:3, 3]
    return shapely.Polygon(flat[:, :2])


def _table(
    rng: np.random.Generator, kind: str, size: float, at: Array
) -> dict[str, tuple[MaterialMesh, dict[str, Any]]]:
    pose = np.eye(4)
    turn = float(rng.uniform(0, 2 * np.pi))
    pose[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    pose[:2, 3] = at[:2]
    if kind == "lid":
        top = matt(picture(single(float(rng.choice([0.86, 0.04])))))
    else:
        tint = np.clip(np.exp(rng.normal(0, 0.12)) * np.exp(rng.normal(0, 0.05, 3)), 0, 1.2).astype(np.float32)
        drawn = picture(np.clip(table_picture(kind, int(rng.integers(6)), size) * tint, 0.003, 0.92))
        top = (
            matt(drawn) if kind not in ("wood", "mat", "leather") else lacquer(drawn, float(rng.uniform(0.18, 0.42)))
        )
    far = pose.copy()
    far[2, 3] = -0.5
    grey = {"paper": 0.7, "wood": 0.2, "mat": 0.12, "cloth": 0.04, "lid": 0.5}.get(kind, 0.2)
    return {
        "table": (sheet(pose, size, size), top),
        "floor": (sheet(far, 4000, 4000), matt(picture(single(grey)))),
    }


def build(rng: np.random.Generator, scene: str, scan: bool, hard: float) -> Scene:
    """Draw a scene and builds its meshes."""
    boards, target = _lay(rng, scene, scan, hard)
    points = []
    for d, pose in boards:
        corners = np.asarray(d.outline.envelope.exterior.coords)[:4]
        points.append(np.c_[corners, np.full(4, d.thickness)] @ pose[:3, :3].T + pose[:3, 3])
    stock = SceneMeshes()
    if target is not None:
        c, s = np.cos(target.angle), np.sin(target.angle)
        pose = np.eye(4)
        pose[:2, :2] = [[c, -s], [s, c]]
        pose[2, 3] = 0.1
        group = sheet(pose, target.width, target.height, CLASSES["target"])
        points.append(group.vertices[0])
        stock.put("target", group, matt(picture(np.repeat(target.picture[::-1, :, None], 3, 2))))
    framed = np.concatenate(points)
    kind = "lid" if scan else str(rng.choice(list(TABLES), p=np.array(list(TABLES.values())) / sum(TABLES.values())))
    middle = framed.mean(0)
    for name, (group, material) in _table(rng, kind, 1100.0, middle).items():
        stock.put(name, group, material)
    for i, (d, pose) in enumerate(boards):
        add_board(stock, d, rng, pose, i + 1)
    if not scan or rng.random() < 0.3:
        covered = [_shadow(d, pose) for d, pose in boards]
        if target is not None:
            covered.append(rectangle(target.width, target.height, target.angle))
        scatter(stock, rng, covered, hard)
    colours = palette(rng)
    skin = matt(picture(colours, nearest=True))
    stock.materials["plastic"] = lacquer(picture(colours, nearest=True), float(rng.uniform(0.15, 0.35)))
    warm = not any(d.metals[k] for d, _ in boards for k in ("gold_finger", "gold_pad")) and bool(rng.random() < 0.7)
    return Scene(_meshes(stock), boards, framed, kind, skin, scan, warm)


def _meshes(stock: SceneMeshes) -> list[tuple[Any, Array]]:
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

    Kernels hold tables as long as the highest number in use. If something always has a high number, scenes with
    few and with many materials run the same kernels.
    """
    dark = [lamp(np.eye(4), 1, 1, np.zeros(3), 0.0) for _ in range(ANCHOR // 4)]
    made = [sheet(np.eye(4), 1, 1).build("anchor", mi.load_dict(every_kind()[1])) for _ in range(ANCHOR)]
    return [dark[-1], made[-1]]


def assemble(stage: Scene, lit: Lit, camera: Camera, at: Array, rng: np.random.Generator) -> Any:
    """The scene of one view, in the renderer's form."""
    anchors()
    entries: dict[str, Any] = {"type": "scene"}
    entries.update({f"mesh{i}": mesh for i, (mesh, _) in enumerate(stage.meshes)})
    if not stage.scan:
        around = observer(rng, camera)
        around.take(things(rng, camera, at))
        around.take(beside(rng, camera, at))
        entries["observer"] = around.build("observer", mi.load_dict(stage.skin))[0]
    entries.update(lit.entries)
    return mi.load_dict(entries, optimize=False)
