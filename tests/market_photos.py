"""As many different photos as one likes for runs that need many: the samples at slightly different sizes."""

from __future__ import annotations

from itertools import cycle, islice
from pathlib import Path

import cv2

from grader.samples import samples_folder

_FROM = ("breakout-pads", "expansion-card", "listing-photo", "memory-modules", "no-gold", "strip-boards")


def write_photos(folder: Path, count: int, width: int) -> None:
    """Photos about ``width`` px wide, each a little wider than the one before it of the same sample."""
    folder.mkdir(parents=True, exist_ok=True)
    samples = {name: cv2.imread(str(samples_folder() / f"{name}.jpg")) for name in _FROM}
    for n, name in enumerate(islice(cycle(_FROM), count)):
        wide = width + n // len(_FROM)
        tall = round(samples[name].shape[0] * wide / samples[name].shape[1])
        small = cv2.resize(samples[name], (wide, tall), interpolation=cv2.INTER_AREA)
        cv2.imwrite(str(folder / f"{n:04d}.jpg"), small, [cv2.IMWRITE_JPEG_QUALITY, 90])
