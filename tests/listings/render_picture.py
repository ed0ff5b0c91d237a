"""One picture of boards on a table, and what it shows of each."""

from __future__ import annotations

from typing import Any

import cv2
import drjit as dr
import numpy as np
from render_bench import render as R
from render_bench import scene as S

from tests.listings.render_boards import Board


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
