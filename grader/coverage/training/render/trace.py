"""Light transport and exact masks, from the same camera rays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .camera import Camera
from .design import CLASSES
from .engine import dr, kernel_float, mi, whole
from .shapes import Array

PER_PASS = 16  # samples per pixel in one kernel: 4 × 4 cells
FINE = 5  # sub-samples of the masks, per pixel and axis
DEPTH = 5


@dataclass(frozen=True)
class Masks:
    """The contents of each pixel.

    Attributes:
        classes: uint8 (h, w), the class of most of its sub-samples.
        gold: uint8 (h, w), share of plating × 255.
        boards: uint8 (h, w), the board of most of its sub-samples, 0 = none.
    """

    classes: Array
    gold: Array
    boards: Array


def integrator() -> Any:
    """The path tracer."""
    return mi.load_dict({"type": "path", "max_depth": DEPTH, "rr_depth": 4})


def trace(scene: Any, paths: Any, camera: Camera, samples: int, seed: int, most: float = 1e9) -> Array:
    """Linear radiance (h, w, 3).

    Args:
        scene: to render.
        paths: an ``integrator``.
        camera: of the picture.
        samples: per pixel; rounded up to whole passes.
        seed: of the samples.
        most: largest radiance of single samples.
    """
    count = camera.width * camera.height
    lens_used = camera.focal_px is not None
    film = dr.zeros(mi.Float, count * 3)
    width, limit = whole(camera.width), kernel_float(most)
    passes = max(1, -(-samples // PER_PASS))
    for i in range(passes):
        sampler = mi.load_dict({"type": "independent"})
        sampler.seed(whole(seed * 64 + i), count * PER_PASS)
        lane = dr.arange(mi.UInt32, count * PER_PASS)
        pixel, cell = lane // PER_PASS, lane % PER_PASS
        jitter = sampler.next_2d()
        row = pixel // width
        u = mi.Float(pixel - row * width) + (mi.Float(cell % 4) + jitter.x) / 4 - 0.5
        v = mi.Float(row) + (mi.Float(cell // 4) + jitter.y) / 4 - 0.5
        lens = mi.warp.square_to_uniform_disk_concentric(sampler.next_2d()) if lens_used else None
        light, _, _ = paths.sample(scene, sampler, camera.rays(u, v, lens), None, active=True)
        light *= dr.minimum(1, limit / dr.maximum(dr.max(light), 1e-6))
        for c in range(3):
            dr.scatter_add(film, light[c], pixel * 3 + c, mode=dr.ReduceMode.Local)
        dr.eval(film)
    return np.asarray(np.array(film).reshape(camera.height, camera.width, 3) / (passes * PER_PASS))


def masks(scene: Any, camera: Camera, codes: list[tuple[Any, Array]]) -> Masks:
    """Masks of a scene whose meshes' faces have codes (16 × board + class)."""
    shapes = [(_number(mesh), c) for mesh, c in codes]
    starts = np.zeros(max(_number(shape) for shape in scene.shapes()) + 1, np.uint32)
    table, at = [np.zeros(1, np.uint32)], 1
    for n, c in shapes:
        starts[n] = at
        table.append(c)
        at += len(c)
    faces = np.concatenate(table)
    boards = int((faces >> 4).max()) + 1
    count = camera.width * camera.height
    kinds = len(CLASSES)
    by_class, by_board = dr.zeros(mi.UInt32, kinds * count), dr.zeros(mi.UInt32, boards * count)
    starts_, faces_ = mi.UInt32(starts), mi.UInt32(faces)
    width, total = whole(camera.width), whole(count)
    for a in range(FINE):
        lane = dr.arange(mi.UInt32, count * FINE)
        pixel, cell = lane // FINE, lane % FINE
        row = pixel // width
        # jittered, because a regular grid would beat with rows of contacts
        jx, jy = (mi.sample_tea_float(lane, whole(977 + 2 * a + axis)) for axis in (0, 1))
        u = mi.Float(pixel - row * width) + (mi.Float(cell) + jx) / FINE - 0.5
        v = mi.Float(row) + (kernel_float(a) + jy) / FINE - 0.5
        hit = scene.ray_intersect_preliminary(camera.rays(u, v), coherent=True)
        seen = hit.is_valid()
        start = dr.gather(mi.UInt32, starts_, dr.reinterpret_array(mi.UInt32, hit.shape), seen)
        seen &= start > 0
        code = dr.gather(mi.UInt32, faces_, start + hit.prim_index, seen)
        dr.scatter_add(by_class, mi.UInt32(1), (code & 15) * total + pixel, mode=dr.ReduceMode.Local)
        dr.scatter_add(by_board, mi.UInt32(1), (code >> 4) * total + pixel, mode=dr.ReduceMode.Local)
        dr.eval(by_class, by_board)
    size = (camera.height, camera.width)
    share = np.array(by_class).astype(np.uint8).reshape(kinds, *size)
    plated = share[CLASSES["gold_finger"]] + share[CLASSES["gold_pad"]]
    on = np.array(by_board).astype(np.uint8).reshape(boards, *size)
    gold = np.round(plated * np.float32(255 / FINE**2)).astype(np.uint8)
    return Masks(share.argmax(0).astype(np.uint8), gold, on.argmax(0).astype(np.uint8))


def _number(mesh: Any) -> int:
    return int(np.array(dr.reinterpret_array(mi.UInt32, mi.ShapePtr(mesh)))[0])
