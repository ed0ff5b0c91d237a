"""Training data: a folder of pictures with exact masks, held on the training device and cropped there.

A folder holds ``images/NAME.jpg`` and, for each, ``masks/NAME_gold.png`` (8-bit plated share of each pixel),
``masks/NAME_board.png`` (8-bit board number, 0 = none) and, where known, ``masks/NAME_mask.png`` (8-bit class
number) and ``masks/NAME_scale.txt`` (pixels per millimetre, one number).
Pictures of one scene share their name up to the first hyphen (``0042_strip-1a``): they are held out together.
Decoded pictures stay on the device as bytes: reading files is then no part of a training step.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Collection, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

FINGER, PAD, BARREL = 4, 5, 11  # class numbers: edge contact, pad, plated hole wall (counts neither for nor against)
LOOKALIKES = (3, 6, 7, 10)  # bare laminate, tin, copper, brass
CLASSES = 12
UNKNOWN = 15  # in place of class numbers where there are none
ON_BOARD = 16  # added to the class number of a pixel that belongs to a board
LEVELS = 3
FOCUS_POINTS = 256
SMALLEST_ZOOM, LARGEST_ZOOM = 0.25, 2.0  # crop pixels per picture pixel
# pixels per millimetre that crops are brought to where the picture's own are known: how often, from, to. The first
# two are the scales at which the segmenter reads (fine, coarse), widened
SCALES = ((0.55, 5.5, 9.5), (0.2, 2.4, 4.2), (0.25, 3.5, 18.0))
ANY_ZOOM = 0.25  # share of crops that know nothing of the scale


@dataclass(frozen=True)
class Frame:
    """One picture with its masks.

    Attributes:
        name: file stem.
        levels: full size, half, quarter; each uint8 (5, h, w): red, green, blue, plated share, class number (plus
            ``ON_BOARD`` on a board).
        plated: int (n, 2), rows and columns of some mostly plated pixels; n may be 0.
        lookalike: the same of pixels that are easily taken for plated.
        px_per_mm: scale, ``None`` if not known.
    """

    name: str
    levels: tuple[Tensor, ...]
    plated: Tensor
    lookalike: Tensor
    px_per_mm: float | None


@dataclass(frozen=True)
class Batch:
    """Crops as the sampler cuts them.

    Attributes:
        rgb: float (n, 3, s, s), 0..1, sRGB-encoded.
        gold: float (n, 1, s, s), plated share.
        board: float (n, 1, s, s), 0 or 1.
        classes: int64 (n, s, s), ``UNKNOWN`` where there are no class numbers.
    """

    rgb: Tensor
    gold: Tensor
    board: Tensor
    classes: Tensor


def held_out(name: str) -> bool:
    """Whether a picture belongs to the validation split: one scene in ten, by its name alone."""
    return zlib.crc32(name.split("-", maxsplit=1)[0].encode()) % 10 == 0


def _some(mask: np.ndarray, rng: np.random.Generator) -> Tensor:
    rows, columns = np.nonzero(mask)
    if len(rows) > FOCUS_POINTS:
        pick = rng.choice(len(rows), FOCUS_POINTS, replace=False)
        rows, columns = rows[pick], columns[pick]
    return torch.from_numpy(np.stack([rows, columns], 1).astype(np.int64))


def _read_mask(path: Path) -> np.ndarray:
    mask = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if mask is None:
        raise FileNotFoundError(path)
    return np.asarray(mask)


def read_frame(folder: Path, name: str, device: torch.device) -> Frame:
    """Reads one picture and its masks."""
    image = cv2.cvtColor(cv2.imread(str(folder / "images" / f"{name}.jpg")), cv2.COLOR_BGR2RGB)
    gold, board = (_read_mask(folder / "masks" / f"{name}_{kind}.png") for kind in ("gold", "board"))
    numbered = folder / "masks" / f"{name}_mask.png"
    classes = _read_mask(numbered) if numbered.exists() else np.full_like(gold, UNKNOWN)
    scale = folder / "masks" / f"{name}_scale.txt"
    numbers = classes + np.where(board > 0, ON_BOARD, 0).astype(np.uint8)
    soft = np.dstack([image, gold])
    levels = []
    for i in range(LEVELS):
        if i:
            soft = cv2.resize(soft, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
            numbers_i = cv2.resize(numbers, (soft.shape[1], soft.shape[0]), interpolation=cv2.INTER_NEAREST)
        else:
            numbers_i = numbers
        stack = np.concatenate([soft, numbers_i[..., None]], 2).transpose(2, 0, 1)
        levels.append(torch.from_numpy(np.ascontiguousarray(stack)).to(device))
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    plated, lookalike = _some(gold > 127, rng), _some(np.isin(classes, LOOKALIKES), rng)
    return Frame(name, tuple(levels), plated, lookalike, float(scale.read_text()) if scale.exists() else None)


def read_folders(
    folders: Sequence[Path], device: torch.device, known: Collection[str] = (), most: int = 10**9, workers: int = 16
) -> list[Frame]:
    """Pictures of some folders but those whose names are known, the first ``most`` in the order of their names."""
    found = sorted((p.stem, f) for f in folders for p in (f / "images").glob("*.jpg") if p.stem not in known)[:most]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(lambda nf: read_frame(nf[1], nf[0], device), found))


def _focus(frame: Frame, rng: np.random.Generator) -> tuple[float, float]:
    """Where a crop looks: often at plating, sometimes at what resembles it, else anywhere."""
    points, u = None, rng.random()
    if u < 0.5 and len(frame.plated):
        points = frame.plated
    elif u < 0.72 and len(frame.lookalike):
        points = frame.lookalike
    if points is None:
        height, width = frame.levels[0].shape[1:]
        return float(rng.uniform(0, height)), float(rng.uniform(0, width))
    row, column = points[int(rng.integers(len(points)))].tolist()
    return float(row), float(column)


def _zoom(frame: Frame, rng: np.random.Generator) -> float:
    """Crop pixels per picture pixel: mostly what brings the picture to a scale at which it would be measured."""
    low, high, own = SMALLEST_ZOOM, LARGEST_ZOOM, 1.0
    if frame.px_per_mm is not None and rng.random() >= ANY_ZOOM:
        _, low, high = SCALES[int(rng.choice(len(SCALES), p=[share for share, _, _ in SCALES]))]
        own = frame.px_per_mm
    zoom = math.exp(rng.uniform(math.log(low), math.log(high))) / own
    return min(max(zoom, SMALLEST_ZOOM), LARGEST_ZOOM)


def _crop(frame: Frame, rng: np.random.Generator, size: int) -> tuple[Tensor, Tensor]:
    """One crop at random zoom, angle and mirror: soft planes (4, s, s) and numbers (s, s)."""
    zoom = _zoom(frame, rng)
    level = min(max(round(-math.log2(zoom)), 0), LEVELS - 1)
    planes = frame.levels[level]
    height, width = planes.shape[1:]
    row, column = _focus(frame, rng)
    shift = rng.uniform(-0.35, 0.35, 2) * size / zoom
    row, column = (row + shift[0]) / 2**level, (column + shift[1]) / 2**level
    angle = rng.uniform(0, 2 * np.pi) if rng.random() < 0.6 else rng.integers(4) * np.pi / 2
    mirror = -1.0 if rng.random() < 0.5 else 1.0
    reach = size / 2 / (zoom * 2**level)
    c, s = reach * np.cos(angle), reach * np.sin(angle)
    theta = torch.tensor(
        [
            [2 * mirror * c / width, -2 * s / width, 2 * column / width - 1],
            [2 * mirror * s / height, 2 * c / height, 2 * row / height - 1],
        ],
        dtype=torch.float32,
    )
    grid = functional.affine_grid(theta.to(planes.device)[None], [1, 1, size, size], align_corners=False)
    kind = {"padding_mode": "reflection", "align_corners": False}
    soft = functional.grid_sample(planes[None, :4].float(), grid, mode="bilinear", **kind)[0]
    numbers = functional.grid_sample(planes[None, 4:].float(), grid, mode="nearest", **kind)[0, 0]
    return soft, numbers.long()


def sample(frames: Sequence[Frame], rng: np.random.Generator, count: int, size: int) -> Batch:
    """Crops of ``size`` × ``size`` from random pictures."""
    crops = [_crop(frames[int(rng.integers(len(frames)))], rng, size) for _ in range(count)]
    soft, numbers = torch.stack([c[0] for c in crops]) / 255, torch.stack([c[1] for c in crops])
    board = (numbers >= ON_BOARD).float().unsqueeze(1)
    return Batch(soft[:, :3], soft[:, 3:], board, numbers % ON_BOARD)
