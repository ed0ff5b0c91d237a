"""Renders scenes and writes the folder of training pictures."""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from .camera import Camera, close, framing, scanner
from .families import SHARES
from .light import LIGHT_SHARES, LIGHTS, LUMINANCE, WARM_SHARES, light_up
from .phone import develop
from .shapes import Array
from .stage import AIM, Scene, assemble, build
from .trace import Masks, integrator, masks, trace

SCANS = 0.07  # share of scenes that are flat scans
STOPS = "abc"


@dataclass(frozen=True)
class Wish:
    """The order for a render.

    Attributes:
        seed: scene ``i`` is drawn from ``seed + i``.
        hard: share of scenes with difficult looks.
        width: of the picture, ``None`` for 1280 to 1600.
        samples: per pixel.
    """

    seed: int
    hard: float = 0.4
    width: int | None = None
    samples: int = 32


@dataclass(frozen=True)
class RenderedPicture:
    """One finished picture: sRGB (h, w, 3), masks, and pixels per millimetre where the camera looked."""

    picture: Array
    masks: Masks
    px_per_mm: float


def _points_of_interest(stage: Scene, rng: np.random.Generator) -> Array:
    """A world point on a board: mostly on contacts or pads."""
    d, pose = stage.boards[int(rng.integers(len(stage.boards)))]
    local = None
    if rng.random() < 0.8:
        metal = [
            layer for name, layer in d.metals.items() if layer and (name.startswith("gold") or rng.random() < 0.4)
        ]
        if metal:
            triangles, _ = metal[int(rng.integers(len(metal)))].triangles()
            local = triangles[int(rng.integers(len(triangles)))].mean(0)
    if local is None:
        local = rng.uniform(0.15, 0.85, 2) * d.size
    return np.asarray(np.array([*local, d.thickness]) @ pose[:3, :3].T + pose[:3, 3])


def _cameras(stage: Scene, rng: np.random.Generator, width: int) -> Iterator[tuple[Camera, Array]]:
    """Cameras of a scene's views, and the point that each looks at."""
    middle = stage.points.mean(0)
    if stage.scan:
        yield scanner(rng, stage.points, int(width * 1.25)), middle
        return
    height = width * 3 // 4
    for share in (1.0, 0.35, 0.2):
        if rng.random() < share:
            camera = framing(rng, stage.points, width, height)
            at = middle
        else:
            top = 30.0 if rng.random() < 0.85 else 60.0
            low = 6.5 if top < 40 else 24.0
            scale = float(np.exp(rng.uniform(np.log(low), np.log(top)))) * width / 1600
            at = _points_of_interest(stage, rng) + np.array([*rng.normal(0, 0.12 * width / scale / 2, 2), 0.0])
            camera = close(rng, at, scale, width, height)
        yield camera, at


def _view(
    stage: Scene, camera: Camera, at: Array, paths: Any, rng: np.random.Generator, samples: int, seed: int
) -> RenderedPicture:
    shares = np.array(WARM_SHARES if stage.warm else LIGHT_SHARES)
    kind = "scanner" if stage.scan else str(rng.choice(LIGHTS, p=shares / shares.sum()))
    lit = light_up(rng, kind, at, camera)
    scene = assemble(stage, lit, camera, at, rng)
    small = trace(scene, paths, camera.resized(max(camera.width // 6, 120)), 16, seed)
    luminance = np.clip(small @ LUMINANCE, 0, None)
    bright = float(np.minimum(luminance, np.percentile(luminance, 99)).mean())
    wanted = AIM.get(stage.table, 0.2)
    if camera.scale_px_per_mm > 6:  # the table is hardly seen
        wanted = float(np.clip(rng.normal(0.2, 0.06), 0.08, 0.4))
    gain = wanted / max(bright, 1e-6)
    if not stage.scan:
        gain *= 2 ** float(np.clip(rng.normal(0, 0.4), -1.0, 1.2))
    radiance = trace(scene, paths, camera, samples, seed + 1, most=10 / gain)
    drawn = develop(rng, radiance, gain, lit.kelvin, stage.scan)
    seen = masks(scene, camera, stage.meshes)
    return RenderedPicture(drawn, seen, camera.scale_px_per_mm)


def _write(out: Path, name: str, view: RenderedPicture, quality: int) -> None:
    for sub in ("images", "masks"):
        (out / sub).mkdir(parents=True, exist_ok=True)
    quick = [cv2.IMWRITE_PNG_COMPRESSION, 1]
    for kind, mask in (("gold", view.masks.gold), ("board", view.masks.boards), ("mask", view.masks.classes)):
        cv2.imwrite(str(out / "masks" / f"{name}_{kind}.png"), mask, quick)
    (out / "masks" / f"{name}_scale.txt").write_text(f"{view.px_per_mm:.4f}\n")
    # the picture comes last, under its name in one step: a training that reads new pictures sees only complete ones
    partial = out / "images" / f"{name}.part"
    _, coded = cv2.imencode(".jpg", view.picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    partial.write_bytes(coded.tobytes())
    partial.replace(out / "images" / f"{name}.jpg")


def make_scene(out: Path, wish: Wish, index: int, paths: Any = None) -> dict[str, Any]:
    """Render one scene's views into a folder; return names, looks and seconds."""
    seed = wish.seed + index
    rng = np.random.default_rng([seed, 20261130])
    paths = paths or integrator()
    begin = time.perf_counter()
    scan = bool(rng.random() < SCANS)
    hard = 1.0 if rng.random() < wish.hard else 0.0
    shares = np.array(list(SHARES.values()))
    scene = list(SHARES)[int(rng.choice(len(shares), p=shares / shares.sum()))]
    width = wish.width or int(rng.choice([1280, 1440, 1600]))
    stage = build(rng, scene, scan, hard)
    built = time.perf_counter()
    names, longest = [], 0.0
    for k, (camera, at) in enumerate(_cameras(stage, rng, width)):
        name = f"{seed:07d}_{scene}{'_scan' if scan else ''}-{STOPS[k]}"
        view = _view(stage, camera, at, paths, rng, wish.samples, 1000 * index + 10 * k)
        _write(out, name, view, int(rng.choice([70, 80, 88, 92, 95])))
        names.append(name)
        longest = max(longest, view.px_per_mm)
    looks = sorted({look for d, _ in stage.boards for look in d.looks})
    seconds = (built - begin, time.perf_counter() - built)
    return {"names": names, "looks": looks, "build_s": seconds[0], "render_s": seconds[1], "table": stage.table}
