"""Renders lots as a seller photographs them, with the truth of every picture.

    python -m tests.listings.render --out FOLDER --seed S --count N [--part i/n] [--heaps]

It draws with ``render_bench``, the independent renderer, which must be importable, as must Mitsuba. Lot i uses seed
S + i: 3 to 12 boards in six pictures. Boards keep design and looks in all pictures of their lot; light, exposure and
the camera change. The pictures are: all boards; all from another angle; two near ones of a few boards; all again
after some were moved; the backs of some or all. Some lots hold twins, boards that differ in nothing. One picture or
two hold the printed target. With ``--heaps`` each lot is one picture of a heap, often cut off by the frame.

A board's back is its outline, holes and plated edges mirrored, with other traces and few parts.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import drjit as dr
import numpy as np
import shapely
from render_bench import boards as B
from render_bench import render as R
from render_bench import scene as S

S.TEX_PPM = 10  # pictures of whole lots show less than that
KINDS = ("memory", "memory", "memory", "strip", "breakout", "breakout", "negative", "widepitch", "expansion")
_WIDTH, _NEAR_WIDTH = 1600, 1280
_SAMPLES = 8


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
    lying = [shapely.Polygon(_corners(boards[n].front.design, p)[:, :2]) for n, p in kept.items()]
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


def _corners(design: Any, pose: np.ndarray) -> np.ndarray:
    c = np.asarray(design.outline.envelope.exterior.coords)[:4]
    return np.c_[c, np.full(4, design.thickness)] @ pose[:3, :3].T + pose[:3, 3]


def camera(
    rng: np.random.Generator, points: np.ndarray, width: int, tilts: tuple[float, float], margin: float
) -> Any:
    """A phone that frames the points."""
    height = width * 3 // 4
    f = 26 / 43.27 * np.hypot(width, height) * float(rng.uniform(0.97, 1.05))
    at = np.array([*(points[:, :2].min(0) + points[:, :2].max(0)) / 2, 1.0])
    tilt, az = np.radians(float(rng.uniform(*tilts))), float(rng.uniform(0, 2 * np.pi))
    best: tuple[float, float] | None = None
    for roll in rng.uniform(0, 2 * np.pi, 6):
        low, high = 80.0, 1500.0
        for _ in range(18):
            distance = (low + high) / 2
            q = R.look(rng, points, width, height, f, distance, at, tilt, az, roll).project(points)
            fits = (np.abs(q[:, 0] - (width - 1) / 2) * margin < width / 2).all() and (
                np.abs(q[:, 1] - (height - 1) / 2) * margin < height / 2
            ).all()
            low, high = (low, distance) if fits else (distance, high)
        if best is None or high < best[0]:
            best = (high, float(roll))
    assert best is not None
    distance = float(np.clip(best[0], 120, 1500))
    seen = R.look(rng, points, width, height, f, distance, at, tilt, az, best[1])
    seen.dist = (float(rng.uniform(-0.06, 0.05)), 0.0) if rng.random() < 0.7 else (0.0, 0.0)
    return seen, distance


def picture(
    rng: np.random.Generator,
    seed: int,
    faces: list[tuple[Board, str, np.ndarray]],
    framed: np.ndarray,
    look: dict[str, Any],
    target: tuple[Any, Any, Any] | None,
    tilts: tuple[float, float],
    margin: float,
    width: int,
    samples: int,
) -> tuple[np.ndarray, dict[str, Any]]:
    """One picture (sRGB) and what it shows."""
    cam, distance = camera(rng, framed, width, tilts, margin)
    centre = framed.mean(0)
    objs: dict[str, Any] = {"type": "scene"}
    size = 2200.0 if distance > 700 else 1400.0
    table_rng = np.random.default_rng(look["table_seed"])
    top = S.table(table_rng, look["table"], size)
    objs["table"] = S.rect(np.eye(4), size, size, top)
    below = np.eye(4)
    below[2, 3] = -0.5
    objs["table_far"] = S.rect(below, 6000, 6000, dict(type="diffuse", reflectance=S.rgb(0.2)))
    if target is not None:
        sheet, info, (tx, ty, ta) = target
        c, s = np.cos(ta), np.sin(ta)
        M = np.eye(4)
        M[:2, :2], M[:3, 3] = [[c, -s], [s, c]], (tx, ty, 0.1)
        drawn = S.bitmap(np.repeat(sheet[::-1, :, None], 3, 2), filter_type="bilinear")
        objs["target"] = S.rect(M, *info["sheet_mm"], dict(type="diffuse", reflectance=drawn))
    classes = []
    for i, (board, side, pose) in enumerate(faces):
        for j, (mesh, _) in enumerate(getattr(board, side).at(pose)):
            objs[f"b{i}_{j}"] = mesh
            classes.append((mesh, i + 1))
    lit, info_l = S.lights(rng, look["light"], centre, cam.pos, cam.R[1])
    objs.update(lit)
    objs.update(S.observer(rng, cam.R, cam.pos))
    scn = S.mi.load_dict(objs)

    def key(shape: Any) -> int:
        return int(np.array(dr.reinterpret_array(S.mi.UInt32, S.mi.ShapePtr(shape)))[0])

    small = cam.resized(max(cam.w // 6, 160))
    thumb = R.trace(scn, small, 16, seed)
    Y = np.clip(thumb @ [0.2126, 0.7152, 0.0722], 0, None)
    aim = dict(paper=0.46, wood=0.22, mat=0.18, cloth=0.12)[look["table"]]
    gain = aim / max(float(np.minimum(Y, np.percentile(Y, 99)).mean()), 1e-6) * 2 ** float(rng.normal(0, 0.25))
    hdr = R.trace(scn, cam, samples, seed + 1, clamp=float(10 / gain), lens_mm=0.4, focus=distance, per_pass=samples)
    shapes = {key(s): s.id() for s in scn.shapes()}
    ground = np.zeros(max(shapes) + 1, np.uint32)
    for k, name in shapes.items():
        ground[k] = name in ("table", "target")
    hdr = R.smooth_ground(scn, cam, hdr, ground, 0.4, distance, seed + 2, n=3)
    image, _ = R.develop(rng, hdr, gain, info_l["colour_temperature_K"])
    lut = np.zeros(max(shapes) + 1, np.uint32)
    for mesh, number in classes:
        lut[key(mesh)] = number
    seen = _numbers(scn, cam, lut)
    told = []
    for i, (board, side, pose) in enumerate(faces):
        design = getattr(board, side).design
        ring = np.asarray(design.outline.exterior.coords)
        outline = cam.project(np.c_[ring, np.full(len(ring), design.thickness)] @ pose[:3, :3].T + pose[:3, 3])
        whole = abs(cv2.contourArea(outline.astype(np.float32)))
        told.append(
            dict(
                board=board.number,
                face=side,
                outline_px=outline.round(2).tolist(),
                in_sight=min(1.0, float((seen == i + 1).sum() / max(whole, 1.0))),
            )
        )
    middle = np.array([*centre[:2], 0.0])
    edge = middle + np.array([1.0, 0.0, 0.0])
    scale = float(np.linalg.norm(np.diff(cam.project(np.array([middle, edge])), axis=0)))
    return image, dict(boards=told, target=target is not None, px_per_mm=scale, distance_mm=distance)


def _numbers(scn: Any, cam: Any, lut: np.ndarray) -> np.ndarray:
    lane = dr.arange(S.mi.UInt32, cam.w * cam.h)
    u, v = S.mi.Float(lane % cam.w), S.mi.Float(lane // cam.w)
    hit = scn.ray_intersect_preliminary(cam.rays(u, v), coherent=True)
    found = dr.gather(S.mi.UInt32, S.mi.UInt32(lut), dr.reinterpret_array(S.mi.UInt32, hit.shape), hit.is_valid())
    return np.array(found).reshape(cam.h, cam.w)


def make_lot(out: Path, seed: int, samples: int, width: int) -> None:
    """One lot's folder: six pictures and ``truth.json``."""
    folder = out / f"lot-{seed:06d}"
    if (folder / "truth.json").exists():
        return
    began = time.time()
    rng = np.random.default_rng([seed, 20261130])
    boards = draw_lot(rng, seed)
    look = dict(
        table=str(rng.choice(["wood", "paper", "mat", "cloth"])),
        table_seed=[seed, 3],
        light=str(rng.choice(["softbox", "window", "ceiling", "overcast", "mixed"])),
    )
    sheet = S.target_sheet(rng)
    reach = float(np.hypot(*sheet[1]["sheet_mm"])) / 2
    on_overview = bool(rng.random() < 0.5)
    taken = [shapely.Point(0, 0).buffer(reach * 0.8)] if on_overview else []
    angle = float(rng.uniform(0, 6.28))
    target = (sheet[0], sheet[1], (0.0, 0.0, angle))
    poses = lay(rng, boards, taken, turned=False)
    everything = [(b, "front", poses[b.number]) for b in boards]
    points = _framed(everything)

    def some(share: float) -> list[tuple[Board, str, np.ndarray]]:
        most = max(1, min(4, round(share * len(boards))))
        at = points[int(rng.integers(len(points)))][:2]
        order = sorted(
            everything, key=lambda f: float(np.hypot(*(_corners(f[0].front.design, f[2]).mean(0)[:2] - at)))
        )
        return order[: int(rng.integers(1, most + 1))]

    near_1, near_2 = some(0.35), some(0.35)
    after = moved(rng, boards, poses, taken)
    shown = boards if rng.random() < 0.5 else [b for b in boards if rng.random() < 0.6] or boards[:1]
    backs = lay(rng, shown, [], turned=True)
    beside = _beside(near_1, everything, *sheet, angle) if not on_overview else None
    plans: list[tuple[str, Any, np.ndarray, Any, tuple[float, float], float, int]] = [
        ("all", everything, points, target if on_overview else None, (0, 8), 1.08, width),
        ("angle", everything, points, target if on_overview else None, (15, 30), 1.06, width),
        ("near-1", everything, _framed(near_1), beside, (0, 12), 1.15, _NEAR_WIDTH),
        ("near-2", everything, _framed(near_2), target if on_overview else None, (8, 25), 1.1, _NEAR_WIDTH),
    ]
    again = [(b, "front", after[b.number]) for b in boards]
    plans.append(("moved", again, _framed(again), target if on_overview else None, (2, 15), 1.1, width))
    turned = [(b, "back", backs[b.number]) for b in shown]
    plans.append(("backs", turned, _framed(turned), None, (0, 12), 1.08, width))
    folder.mkdir(parents=True, exist_ok=True)
    pictures = []
    for n in rng.permutation(len(plans)):
        kind, faces, framed, sheet_here, tilts, margin, wide = plans[int(n)]
        own = np.random.default_rng([seed, 40, int(n)])
        image, told = picture(own, seed * 100 + int(n), faces, framed, look, sheet_here, tilts, margin, wide, samples)
        name = f"{len(pictures) + 1}.jpg"
        quality = int(own.choice([75, 82, 88, 92]))
        coded = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        (folder / name).write_bytes(coded.tobytes())
        pictures.append(dict(file=name, kind=kind, **told))
    truth = dict(
        seed=seed,
        seconds=round(time.time() - began, 1),
        table=look["table"],
        light=look["light"],
        boards=[
            dict(
                board=b.number,
                design=b.design,
                family=b.front.design.family,
                size_mm=list(b.front.design.outline.bounds[2:]),
                face_area_mm2=float(b.front.design.body.area),
                front_gold_mm2=sum(b.front.design.exposed[g] for g in R.GOLD),
                back_gold_mm2=sum(b.back.design.exposed[g] for g in R.GOLD),
            )
            for b in boards
        ],
        pictures=pictures,
    )
    (folder / "target.json").write_text(json.dumps(_described(sheet[1]), indent=1))
    (folder / "truth.json").write_text(json.dumps(truth, indent=1))
    print(folder.name, len(boards), "boards", truth["seconds"], "s", flush=True)


def _described(info: dict[str, Any]) -> dict[str, Any]:
    """The target as ``grader measure --target`` reads it."""
    return {k: v for k, v in info.items() if k != "sheet_axes"}


def _framed(faces: list[tuple[Board, str, np.ndarray]]) -> np.ndarray:
    return np.concatenate([_corners(getattr(b, side).design, pose) for b, side, pose in faces])


def _beside(near: Any, everything: Any, sheet: Any, info: Any, angle: float) -> Any:
    """The target laid beside the boards of a near picture, clear of all others."""
    w, h = info["sheet_mm"]
    lying = [shapely.Polygon(_corners(b.front.design, p)[:, :2]) for b, _, p in everything]
    at = _framed(near).mean(0)[:2]
    x, y, _ = R.place_apart(
        np.random.default_rng(6), shapely.box(-w / 2, -h / 2, w / 2, h / 2), lying, 4.0, angle, tuple(at)
    )
    near.append((_Sheet(w, h), "front", _flat(x, y, angle)))
    return sheet, info, (x, y, angle)


class _Sheet:
    """A target as a thing that a picture frames."""

    def __init__(self, w: float, h: float) -> None:
        outline = shapely.box(-w / 2, -h / 2, w / 2, h / 2)
        self.front = type("F", (), {"design": type("D", (), {"outline": outline, "thickness": 0.0})})


def _flat(x: float, y: float, angle: float) -> np.ndarray:
    M = np.eye(4)
    c, s = np.cos(angle), np.sin(angle)
    M[:2, :2], M[:2, 3] = [[c, -s], [s, c]], (x, y)
    return M


def make_heap(out: Path, seed: int, samples: int, width: int) -> None:
    """One picture of a heap, and ``truth.json``."""
    folder = out / f"heap-{seed:06d}"
    if (folder / "truth.json").exists():
        return
    began = time.time()
    rng = np.random.default_rng([seed, 20261201])
    count = int(np.exp(rng.uniform(np.log(3), np.log(45))))
    kinds = [str(k) for k in rng.choice(list(B.FAMILIES), int(rng.integers(1, 4)))]
    if rng.random() < 0.6:
        kinds = [str(rng.choice(["memory", "memory", "strip", "breakout"]))]
    made = [B.make(str(rng.choice(kinds)), np.random.default_rng([seed, 7, n])) for n in range(min(count, 6))]
    boards = []
    for n in range(count):
        face = Face(made[int(rng.integers(len(made)))], [seed, 9, n % 12, 0])
        boards.append(Board(n, n, face, face))
    spread = 20.0 * float(rng.uniform(0.7, 1.6)) * np.sqrt(count / 4 + 1)
    heap: list[Any] = []
    faces = []
    for b in boards:
        pose = np.eye(4)
        for _ in range(25):
            x, y = rng.normal(0, spread, 2)
            pose = S.rest(b.front.design, x, y, float(rng.uniform(0, 2 * np.pi)), heap[-60:], 0.15)
            if pose[2, 2] > np.cos(np.radians(19)):
                break
        faces.append((b, "front", pose))
        heap.append(S.world_heights(b.front.design, pose))
    for b, _, _ in faces:
        b.front.seed = [seed, 9, b.number, 0]
    look = dict(
        table=str(rng.choice(["wood", "paper", "mat", "cloth"])),
        table_seed=[seed, 3],
        light=str(rng.choice(["softbox", "window", "ceiling", "overcast", "mixed"])),
    )
    points = _framed(faces)
    sheet = S.target_sheet(rng)
    far = float(np.abs(points[:, 0]).max()) + float(np.hypot(*sheet[1]["sheet_mm"])) / 2
    target = (sheet[0], sheet[1], (far, 0.0, 0.3))
    framed = np.concatenate([points, [[far + 40, 40, 0], [far + 40, -40, 0]]])
    if rng.random() < 0.35:  # cut off by the frame
        away = np.argsort(points[:, int(rng.integers(2))] * (1 if rng.random() < 0.5 else -1))
        framed = np.concatenate([points[away[: int(len(points) * rng.uniform(0.7, 0.95))]], framed[-2:]])
    image, told = picture(rng, seed * 100, faces, framed, look, target, (0, 20), 1.05, width, samples)
    folder.mkdir(parents=True, exist_ok=True)
    coded = cv2.imencode(".jpg", image[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 88])[1]
    (folder / "1.jpg").write_bytes(coded.tobytes())
    told["boards"] = [
        {**b, "size_mm": list(faces[i][0].front.design.outline.bounds[2:])} for i, b in enumerate(told["boards"])
    ]
    truth = dict(seed=seed, kinds=kinds, count=count, pictures=[dict(file="1.jpg", kind="heap", **told)])
    (folder / "target.json").write_text(json.dumps(_described(sheet[1]), indent=1))
    (folder / "truth.json").write_text(json.dumps(truth, indent=1))
    print(folder.name, count, "boards", round(time.time() - began, 1), "s", flush=True)


def main() -> None:
    """Runs the command line."""
    ask = argparse.ArgumentParser(prog="python -m tests.listings.render", description=__doc__.split("\n", 1)[0])
    ask.add_argument("--out", required=True, type=Path)
    ask.add_argument("--seed", required=True, type=int)
    ask.add_argument("--count", type=int, default=1)
    ask.add_argument("--part", default="1/1", help="i/n: every n-th lot only, for several processes")
    ask.add_argument("--samples", type=int, default=_SAMPLES, help="light paths a pixel")
    ask.add_argument("--width", type=int, default=_WIDTH)
    ask.add_argument("--heaps", action="store_true", help="one heap each instead of a lot")
    wanted = ask.parse_args()
    S.mi.set_log_level(S.mi.LogLevel.Error)
    part, parts = (int(v) for v in wanted.part.split("/"))
    for n in range(part - 1, wanted.count, parts):
        make = make_heap if wanted.heaps else make_lot
        make(wanted.out, wanted.seed + n, wanted.samples, wanted.width)


if __name__ == "__main__":
    main()
