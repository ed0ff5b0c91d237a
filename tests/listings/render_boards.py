"""Boards of a rendered lot: two faces each, laid on a table, moved and turned."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from render_bench import boards as B
from render_bench import render as R
from render_bench import scene as S

S.TEX_PPM = 10  # pictures of whole lots show less than that
KINDS = ("memory", "memory", "memory", "strip", "breakout", "breakout", "negative", "widepitch", "expansion")


@dataclass
class Face:
    """One face of a board: its design and its meshes, built once."""

    design: Any
    seed: list[int]
    meshes: list[tuple[Any, str, np.ndarray, np.ndarray]] = field(default_factory=list)

    def at(self, pose: np.ndarray) -> list[tuple[Any, str]]:
        """Its meshes, moved to a pose."""
        if not self.meshes:
            for mesh, name in S.board_meshes(
                self.design, np.random.default_rng(self.seed), np.eye(4), _tag(self.seed)
            ):
                known = S.mi.traverse(mesh)
                points = np.array(known["vertex_positions"]).reshape(-1, 3)
                normals = np.array(known["vertex_normals"]).reshape(-1, 3)
                self.meshes.append((mesh, name, points, normals))
        for mesh, _, points, normals in self.meshes:
            known = S.mi.traverse(mesh)
            known["vertex_positions"] = (points @ pose[:3, :3].T + pose[:3, 3]).astype(np.float32).ravel()
            known["vertex_normals"] = (normals @ pose[:3, :3].T).astype(np.float32).ravel()
            known.update()
        return [(mesh, name) for mesh, name, _, _ in self.meshes]


@dataclass
class Board:
    """A board of a lot; twins share a design."""

    number: int
    design: int
    front: Face
    back: Face


def _tag(seed: list[int]) -> str:
    return "b" + "_".join(str(n) for n in seed)


def back_of(front: Any, rng: np.random.Generator) -> Any:
    """The other face: outline, holes and edge contacts mirrored, other traces, few parts."""
    width = front.outline.bounds[2]

    def turned(shape: Any) -> Any:
        return shapely.affinity.translate(shapely.affinity.scale(shape, -1, 1, origin=(0, 0)), width, 0)

    d = B.Design(front.family, rng, turned(front.outline), front.thickness)
    d.mask, d.mask_gloss, d.finish, d.silk_colour = front.mask, front.mask_gloss, front.finish, front.silk_colour
    d.pullback, d.gold_alpha = front.pullback, front.gold_alpha
    d.regions["gold_finger"] = [turned(g) for g in front.regions["gold_finger"]]
    if front.family == "memory" and not d.regions["gold_finger"]:
        deepest = 6.0
        d.regions["tin"] = [turned(g) for g in front.regions["tin"] if g.bounds[3] < deepest]
    mirrored = {"left": "right", "right": "left"}
    d.fingers = [{**f, "edge": mirrored.get(f["edge"], f["edge"])} for f in front.fingers]
    d.openings = [turned(g) for g in front.openings]
    d.holes = [(turned(h), m) for h, m in front.holes]
    for hole, metal in d.holes:
        ring = {"gold": "gold_pad", "tin": "tin", "copper": "copper"}.get(metal or "")
        if ring:
            d.regions[ring].append(hole.buffer(0.5))
        a, b, c, e = hole.bounds
        d.claim(a - 0.6, b - 0.6, c + 0.6, e + 0.6)
    for group in d.regions.values():
        for g in group:
            d.claim(*g.bounds)
    w, h = d.outline.bounds[2:]
    for _ in range(int(rng.integers(0, 5))):
        iw, ih = float(rng.uniform(4, 9)), float(rng.uniform(4, 9))
        spot = d.spot(iw + 3, ih + 3)
        if spot:
            d.ic(spot[0] + 1.5, spot[1] + 1.5, iw, ih, str(rng.choice(["x", "y"])), 0.8, 1.1)
    d.scatter_chips(int(w * h / 160), d.outline.bounds)
    for _ in range(3):
        spot = d.spot(14, 3)
        if spot:
            d.label(str(rng.choice(B.WORDS)), float(rng.uniform(1.2, 2.2)), spot[0] + 0.3, spot[1] + 0.4)
    d.silk_frames(10)
    d.traces_random(45, (0.15, 0.4))
    d.vias(80)
    d.finish_meta = front.finish_meta
    return d.finish_up()


def draw_lot(rng: np.random.Generator, seed: int) -> list[Board]:
    """3 to 12 boards; in some lots some are twins."""
    count = int(rng.integers(3, 13))
    twins = bool(rng.random() < 0.4)
    boards: list[Board] = []
    designs = 0
    while len(boards) < count:
        kind = str(rng.choice(KINDS))
        large = sum(b.front.design.family in ("expansion", "widepitch") for b in boards)
        if kind in ("expansion", "widepitch") and large >= 2:
            continue
        copies = min(int(rng.integers(2, 5)), count - len(boards)) if twins and rng.random() < 0.5 else 1
        state = [seed, 7, designs]
        design = B.make(kind, np.random.default_rng(state))
        back = back_of(design, np.random.default_rng([seed, 8, designs]))
        for _ in range(copies):
            number = len(boards)
            boards.append(
                Board(number, designs, Face(design, [seed, 9, number, 0]), Face(back, [seed, 9, number, 1]))
            )
        designs += 1
    return boards


def lay(rng: np.random.Generator, boards: list[Board], taken: list[Any], turned: bool) -> dict[int, np.ndarray]:
    """Side by side, the larger ones first where that is tidy."""
    poses: dict[int, np.ndarray] = {}
    placed: list[Any] = []
    angle = float(rng.uniform(0, 2 * np.pi))
    spread = float(rng.choice([0.04, 0.2, 0.8]))
    for board in rng.permutation(np.array(boards, object)):
        face = (board.back if turned else board.front).design
        a, b, c, e = face.outline.bounds
        shape = shapely.box(-(c - a) / 2, -(e - b) / 2, (c - a) / 2, (e - b) / 2)
        an = angle + float(rng.normal(0, spread)) + (np.pi if rng.random() < 0.3 else 0)
        x, y, q = R.place_apart(rng, shape, taken + placed, float(rng.uniform(3, 14)), an, (0.0, 0.0))
        placed.append(q)
        lift = float(rng.choice([0, 0, 0.6, 1.4]))
        poses[board.number] = S.rest(face, x, y, an, [], 0.15 + lift)
    return poses


def moved(
    rng: np.random.Generator, boards: list[Board], poses: dict[int, np.ndarray], taken: list[Any]
) -> dict[int, np.ndarray]:
    """The same with about half of them picked up and laid elsewhere."""
    kept = {n: p for n, p in poses.items() if rng.random() < 0.5}
    lying = [shapely.Polygon(corners_of(boards[n].front.design, p)[:, :2]) for n, p in kept.items()]
    out = dict(kept)
    for n in rng.permutation([n for n in poses if n not in kept]):
        face = boards[int(n)].front.design
        a, b, c, e = face.outline.bounds
        shape = shapely.box(-(c - a) / 2, -(e - b) / 2, (c - a) / 2, (e - b) / 2)
        an = float(rng.uniform(0, 2 * np.pi))
        x, y, q = R.place_apart(rng, shape, taken + lying, float(rng.uniform(3, 14)), an, tuple(rng.normal(0, 60, 2)))
        lying.append(q)
        out[int(n)] = S.rest(face, x, y, an, [], 0.15)
    return out


def corners_of(design: Any, pose: np.ndarray) -> np.ndarray:
    c = np.asarray(design.outline.envelope.exterior.coords)[:4]
    return np.c_[c, np.full(4, design.thickness)] @ pose[:3, :3].T + pose[:3, 3]


def framed_by(faces: list[tuple[Board, str, np.ndarray]]) -> np.ndarray:
    return np.concatenate([corners_of(getattr(b, side).design, pose) for b, side, pose in faces])
