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
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely
from render_bench import boards as B
from render_bench import render as R
from render_bench import scene as S

from tests.listings.render_boards import Board, Face, corners_of, draw_lot, framed_by, lay, moved
from tests.listings.render_picture import picture

_WIDTH, _NEAR_WIDTH = 1600, 1280
_SAMPLES = 8


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
    points = framed_by(everything)

    def some(share: float) -> list[tuple[Board, str, np.ndarray]]:
        most = max(1, min(4, round(share * len(boards))))
        at = points[int(rng.integers(len(points)))][:2]
        order = sorted(
            everything, key=lambda f: float(np.hypot(*(corners_of(f[0].front.design, f[2]).mean(0)[:2] - at)))
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
        ("near-1", everything, framed_by(near_1), beside, (0, 12), 1.15, _NEAR_WIDTH),
        ("near-2", everything, framed_by(near_2), target if on_overview else None, (8, 25), 1.1, _NEAR_WIDTH),
    ]
    again = [(b, "front", after[b.number]) for b in boards]
    plans.append(("moved", again, framed_by(again), target if on_overview else None, (2, 15), 1.1, width))
    turned = [(b, "back", backs[b.number]) for b in shown]
    plans.append(("backs", turned, framed_by(turned), None, (0, 12), 1.08, width))
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


def _beside(near: Any, everything: Any, sheet: Any, info: Any, angle: float) -> Any:
    """The target laid beside the boards of a near picture, clear of all others."""
    w, h = info["sheet_mm"]
    lying = [shapely.Polygon(corners_of(b.front.design, p)[:, :2]) for b, _, p in everything]
    at = framed_by(near).mean(0)[:2]
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
    points = framed_by(faces)
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
