"""Training data: a folder of pictures with their masks, held on the training device and cropped there.

A folder holds ``images/NAME.jpg`` and, for each, in ``masks``:

- ``NAME_gold.png``: 8-bit plated share of each pixel; without it nothing is plated,
- ``NAME_known.png``: 8-bit, not 0 where that is known; without it, it is known everywhere,
- ``NAME_board.png``: 8-bit board number, 0 = none; without it nothing is learned about boards,
- ``NAME_mask.png``: 8-bit class number (the model card lists them), if known,
- ``NAME_kind.txt``, of photographs: ``edge`` (all plating is edge contacts), ``pads`` (none is), ``mixed``, ``none``,
- ``NAME_scale.txt``: pixels per millimetre, if known.

``meta.json`` may state the source of a photograph (``{NAME: {"repo": SOURCE}}``). Pictures of one scene share their
name up to the first hyphen (``0042_strip-1a``). Photographs of one source, and renders of one scene, are held out
together. Decoded pictures stay on the device as bytes, so that a training step reads no files.
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

from .classes import BACKGROUND, FINGER, LOOKALIKES, NEITHER, PAD, UNKNOWN
from .split import held_out

# added to the class number of a pixel that belongs to a board, and of a pixel for which this is not known
ON_BOARD, BOARD_UNKNOWN = 16, 32
LEVELS = 3
RENDER, OTHER_RENDER = "render", "other render"
RENDERS = (RENDER, OTHER_RENDER)
FOCUS_POINTS = 256
SMALLEST_ZOOM, LARGEST_ZOOM = 0.25, 2.0  # crop pixels per picture pixel
# pixels per millimetre to which crops are brought if the picture's own are known: how often, from, to. The first two
# are the scales at which the segmenter reads (fine, coarse), widened
SCALES = ((0.55, 5.5, 9.5), (0.2, 2.4, 4.2), (0.25, 3.5, 18.0))
ANY_ZOOM = 0.25  # share of crops that ignore the scale
# Largest side at which the segmenter reads pictures without a scale; how often photographs are shown at about this
# size, and the factor that "about" allows
READS_SIDE_PX, AS_READ, ABOUT_AS_READ = 1600, 0.6, 1.5


@dataclass(frozen=True)
class Frame:
    """One picture with its masks.

    Attributes:
        name: file stem.
        kind: ``render``, ``other render`` if it looks unlike the pictures on which the starting weights were
            trained, or for a photograph ``edge``, ``pads``, ``mixed`` or ``none``.
        levels: full size, half, quarter; each uint8 (5, h, w): red, green, blue, plated share, class number (plus
            ``ON_BOARD`` on a board, ``BOARD_UNKNOWN`` where that is not known).
        plated: int (n, 2), rows and columns of some mostly plated pixels; n may be 0.
        lookalike: the same for pixels that are easily taken for plated.
        px_per_mm: scale, ``None`` if not known.
        held: whether it is held out from training.
    """

    name: str
    kind: str
    levels: tuple[Tensor, ...]
    plated: Tensor
    lookalike: Tensor
    px_per_mm: float | None
    held: bool


@dataclass(frozen=True)
class CropBatch:
    """Crops as the sampler cuts them.

    Attributes:
        rgb: float (n, 3, s, s), 0..1, sRGB-encoded.
        gold: float (n, 1, s, s), plated share.
        board: float (n, 1, s, s), 0 or 1.
        board_known: float (n, 1, s, s), 0 where it is not known whether there is a board, otherwise 1.
        classes: int64 (n, s, s), ``UNKNOWN`` where there are no class numbers.
        familiar: float (n, 1, 1, 1), 1 for renders like those on which the starting weights were trained.
    """

    rgb: Tensor
    gold: Tensor
    board: Tensor
    board_known: Tensor
    classes: Tensor
    familiar: Tensor


def some_points(mask: np.ndarray, rng: np.random.Generator) -> Tensor:
    """At most ``FOCUS_POINTS`` rows and columns, int64 (n, 2), of a mask's pixels."""
    rows, columns = np.nonzero(mask)
    if len(rows) > FOCUS_POINTS:
        pick = rng.choice(len(rows), FOCUS_POINTS, replace=False)
        rows, columns = rows[pick], columns[pick]
    return torch.from_numpy(np.stack([rows, columns], 1).astype(np.int64))


def _mask(folder: Path, name: str, what: str) -> np.ndarray | None:
    path = folder / "masks" / f"{name}_{what}.png"
    return np.asarray(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)) if path.exists() else None


def _text(path: Path) -> str | None:
    return path.read_text("utf-8").strip() if path.exists() else None


def read_frame(folder: Path, name: str, device: torch.device) -> Frame:
    """Read one picture and the masks that it has.

    Raises:
        FileNotFoundError: a render (a picture without a stated kind) has no plated share.
    """
    image = cv2.cvtColor(cv2.imread(str(folder / "images" / f"{name}.jpg")), cv2.COLOR_BGR2RGB)
    kind, scale = (_text(folder / "masks" / f"{name}_{what}.txt") for what in ("kind", "scale"))
    gold, known, board, classes = (_mask(folder, name, what) for what in ("gold", "known", "board", "mask"))
    if gold is None:
        if kind is None:
            raise FileNotFoundError(folder / "masks" / f"{name}_gold.png")
        gold = np.zeros(image.shape[:2], np.uint8)
    if classes is None:
        classes = _classes(gold, board, kind)
    if known is not None:
        classes = np.where(known > 0, classes, np.uint8(NEITHER))
    on_board = BOARD_UNKNOWN if board is None else np.where(board > 0, ON_BOARD, 0)
    numbers = (classes + on_board).astype(np.uint8)
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
    plated = some_points((gold > 127) & (classes != NEITHER), rng)
    lookalike = some_points(np.isin(classes, LOOKALIKES), rng)
    return Frame(
        name=name,
        kind=kind or RENDER,
        levels=tuple(levels),
        plated=plated,
        lookalike=lookalike,
        px_per_mm=float(scale) if scale else None,
        held=held_out(folder, name, photograph=kind is not None),
    )


def _classes(gold: np.ndarray, board: np.ndarray | None, kind: str | None) -> np.ndarray:
    """Class numbers as far as plating, boards and a photograph's kind give them, uint8 (h, w)."""
    classes = np.full_like(gold, UNKNOWN)
    if board is not None:
        classes[board == 0] = BACKGROUND
    classes[gold > 0] = {"edge": FINGER, "pads": PAD}.get(kind or "", UNKNOWN)
    return classes


def read_folders(
    folders: Sequence[Path], device: torch.device, known: Collection[str] = (), most: int = 10**9, workers: int = 16
) -> list[Frame]:
    """Pictures of some folders, except those whose names are known: the first ``most`` in the order of their names.

    Hidden files are skipped, because they are being written.
    """
    listed = ((path.stem, folder) for folder in folders for path in (folder / "images").glob("[!.]*.jpg"))
    found = sorted(one for one in listed if one[0] not in known)[:most]
    with ThreadPoolExecutor(workers) as pool:
        return list(pool.map(lambda nf: read_frame(nf[1], nf[0], device), found))


def _focus(frame: Frame, rng: np.random.Generator) -> tuple[float, float]:
    """Centre of a crop: often at plating, sometimes at something that resembles it, otherwise anywhere."""
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
    """Crop pixels per picture pixel: mostly a zoom to a scale at which the picture would be measured."""
    low, high, own = SMALLEST_ZOOM, LARGEST_ZOOM, 1.0
    if frame.px_per_mm is not None and rng.random() >= ANY_ZOOM:
        _, low, high = SCALES[int(rng.choice(len(SCALES), p=[share for share, _, _ in SCALES]))]
        own = frame.px_per_mm
    elif frame.px_per_mm is None and frame.kind not in RENDERS and rng.random() < AS_READ:
        low, high = 1 / ABOUT_AS_READ, ABOUT_AS_READ
        own = max(1.0, max(frame.levels[0].shape[1:]) / READS_SIDE_PX)
    zoom = math.exp(rng.uniform(math.log(low), math.log(high))) / own
    return min(max(zoom, SMALLEST_ZOOM), LARGEST_ZOOM)


def _place(frame: Frame, rng: np.random.Generator, size: int) -> tuple[Tensor, list[list[float]]]:
    """Where a crop at random zoom, angle and mirror lies: planes (5, h, w), and a matrix for ``affine_grid``."""
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
    return planes, [
        [2 * mirror * c / width, -2 * s / width, 2 * column / width - 1],
        [2 * mirror * s / height, 2 * c / height, 2 * row / height - 1],
    ]


def crops(frames: Sequence[Frame], rng: np.random.Generator, size: int) -> CropBatch:
    """One crop of ``size`` × ``size`` of each picture given; a picture may be given several times."""
    placed = [_place(frame, rng, size) for frame in frames]
    device = placed[0][0].device
    theta = torch.tensor([matrix for _, matrix in placed], dtype=torch.float32).to(device)
    grids = functional.affine_grid(theta, [len(placed), 1, size, size], align_corners=False)
    kind = {"padding_mode": "reflection", "align_corners": False}
    soft, numbers = [], []
    for (planes, _), grid in zip(placed, grids.split(1), strict=True):
        picture = planes[None].float()
        soft.append(functional.grid_sample(picture[:, :4], grid, mode="bilinear", **kind))
        numbers.append(functional.grid_sample(picture[:, 4:], grid, mode="nearest", **kind))
    return _batch(torch.cat(soft) / 255, torch.cat(numbers)[:, 0].long(), frames)


def _batch(soft: Tensor, numbers: Tensor, frames: Sequence[Frame]) -> CropBatch:
    """Crops from their soft planes (n, 4, s, s), 0..1, and numbers (n, s, s)."""
    board, known = (numbers & ON_BOARD > 0).float(), (numbers & BOARD_UNKNOWN == 0).float()
    familiar = torch.tensor([float(frame.kind == RENDER) for frame in frames], device=soft.device)
    return CropBatch(
        rgb=soft[:, :3],
        gold=soft[:, 3:],
        board=board.unsqueeze(1),
        board_known=known.unsqueeze(1),
        classes=numbers % ON_BOARD,
        familiar=familiar.view(-1, 1, 1, 1),
    )
