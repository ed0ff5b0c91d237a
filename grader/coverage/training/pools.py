"""Pictures to train on, by kind: each crop of a batch is drawn from one kind, with the frequency of its share."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import torch
from torch import Tensor
from torch.nn import functional

from .classes import NEITHER
from .dataset import ON_BOARD, OTHER_RENDER, READS_SIDE_PX, RENDER, CropBatch, Frame, crops, read_folders, some_points
from .model import STRIDE, CoverageNet, coverage_logits, network_input

POOLS: Mapping[str, tuple[str, ...]] = {
    "renders": (RENDER,),
    "other renders": (OTHER_RENDER,),
    "edge": ("edge", "mixed"),
    "pads": ("pads",),
    "none": ("none",),
}
# of a batch, in the order of POOLS: with half of it photographs, and no renders like those on which the starting
# weights were trained, ordinary renders were forgotten
SHARES = (0.46, 0.22, 0.10, 0.11, 0.11)
TAKEN_FOR_PLATED, CLEARLY_NOT = 0.15, 25  # network's share above which, and true share (255 = 1) below which, it errs
PADDED_PX = 8 * STRIDE
READS_PX_PER_MM, LARGEST_FACTOR = 7.5, 1.7  # as the segmenter reads: see ``learned``


class Pictures:
    """The pictures of some folders, for training and held out; ``follow`` keeps adding those that arrive.

    Renders of ``others`` look unlike those on which the starting weights were trained: they have their own pool, and
    the teacher is not followed on them.

    Lists only ever grow, so a training step may draw from them while another thread adds.
    """

    def __init__(self, folders: Sequence[Path], device: torch.device, most: int, others: Sequence[Path] = ()) -> None:
        self._folders, self._device, self._most = {RENDER: folders, OTHER_RENDER: others}, device, most
        self.pools: dict[str, list[Frame]] = {name: [] for name in POOLS}
        self.held: list[Frame] = []
        self._known: set[str] = set()

    def read(self, workers: int = 16) -> None:
        """Add new pictures, as far as there is room."""
        for renders, folders in self._folders.items():
            room = self._most - len(self._known)
            for frame in read_folders(folders, self._device, self._known, room, workers):
                self._known.add(frame.name)
                self._add(dataclasses.replace(frame, kind=renders) if frame.kind == RENDER else frame)

    def _add(self, frame: Frame) -> None:
        if frame.held:
            self.held.append(frame)
        else:
            self.pools[next(name for name, kinds in POOLS.items() if frame.kind in kinds)].append(frame)

    def follow(self, every_s: float = 15.0) -> None:
        """Keep reading until there is no more room."""
        while len(self._known) < self._most:
            time.sleep(every_s)
            self.read(workers=4)

    def counts(self) -> str:
        """Numbers of pictures, in words."""
        return ", ".join(f"{len(frames)} {name}" for name, frames in self.pools.items())

    def look_where_wrong(self, model: CoverageNet) -> None:
        """Add the model's false finds in photographs to the lookalikes of plating: crops then look there."""
        for name in ("edge", "pads", "none"):
            self.pools[name][:] = [_with_mistakes(frame, model) for frame in self.pools[name]]


def sample(
    pools: Mapping[str, Sequence[Frame]], shares: Sequence[float], rng: np.random.Generator, count: int, size: int
) -> CropBatch:
    """Crops from random pictures, each from a pool drawn by its share; pools without pictures take no part."""
    filled = [(pools[name], share) for name, share in zip(POOLS, shares, strict=True) if pools[name]]
    chance = np.array([share for _, share in filled])
    drawn = [filled[int(i)][0] for i in rng.choice(len(filled), count, p=chance / chance.sum())]
    return crops([frames[int(rng.integers(len(frames)))] for frames in drawn], rng, size)


def _factor(frame: Frame) -> float:
    """Pixels that the segmenter reads per picture pixel."""
    if frame.px_per_mm is None:
        return min(1.0, READS_SIDE_PX / max(frame.levels[0].shape[1:]))
    return min(LARGEST_FACTOR, READS_PX_PER_MM / frame.px_per_mm)


def as_read(frame: Frame) -> tuple[Tensor, Tensor, Tensor]:
    """A whole picture at about the scale at which the segmenter reads it.

    Its sides are padded to multiples of ``PADDED_PX``, because a GPU's library prepares anew for each size, which
    takes seconds.

    Returns:
        rgb float (1, 3, h, w) 0..1, plated share float (h, w), whether it counts bool (h, w): not in the padding.
    """
    planes, factor = frame.levels[0], _factor(frame)
    size = [max(1, round(side * factor)) for side in planes.shape[1:]]
    soft = functional.interpolate(
        planes[None, :4].float() / 255, size=size, mode="bilinear", antialias=factor < 1, align_corners=False
    ).clamp(0, 1)
    numbers = functional.interpolate(planes[None, 4:].float(), size=size, mode="nearest")[0, 0].long()
    bottom, right = (-side % PADDED_PX for side in size)
    soft = functional.pad(soft, (0, right, 0, bottom))
    numbers = functional.pad(numbers, (0, right, 0, bottom), value=NEITHER)
    return soft[:, :3], soft[0, 3], numbers % ON_BOARD != NEITHER


@torch.no_grad()
def found(model: CoverageNet, rgb: Tensor) -> Tensor:
    """The network's plated share, float (h, w), of one picture (1, 3, h, w)."""
    sizes_vary = torch.backends.cudnn.flags(enabled=True, benchmark=False)  # nothing to try out
    with sizes_vary, torch.autocast(rgb.device.type, dtype=torch.bfloat16):
        outputs = model(network_input(rgb))
    return torch.sigmoid(coverage_logits(outputs).float())[0, 0]


def _with_mistakes(frame: Frame, model: CoverageNet) -> Frame:
    rgb, gold, counts = as_read(frame)
    wrong = (found(model, rgb) > TAKEN_FOR_PLATED) & (gold * 255 < CLEARLY_NOT) & counts
    points = some_points(wrong.cpu().numpy(), np.random.default_rng(0)).double()
    seen = torch.cat([frame.lookalike, (points / _factor(frame)).long()])
    return dataclasses.replace(frame, lookalike=seen)
