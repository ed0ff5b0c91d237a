"""The classical segmenter: colour against surroundings, then regions, then edges.

1. A reduced picture, white-balanced (grey patches if they are in sight, else an estimate), in linear light.
2. A score for each pixel from its colour and from how it differs from what lies around it at 1, 3 and 10 mm.
3. Regions of positive score, kept or dropped by a score of their shape, colour, contrast and surroundings.
4. At the photo's own resolution, the share of plating in edge pixels by two-colour unmixing.

Both scores are logistic, fitted by ``grader.coverage.training.fit_classical`` and stored in ``data/classical.json``.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.reading import packaged_text
from calibration.scale import Scale
from calibration.white_balance import WhiteBalance, estimate, from_grey_patches, to_linear
from grader.coverage.background import board_mask
from grader.coverage.error import error_inputs, quality_notices
from grader.coverage.features import describe_regions, pixel_features
from grader.coverage.model import Coverage
from grader.coverage.scorer import Scorer
from grader.coverage.unmix import unmix_edges
from grader.photo import Photo

WORK_PX_PER_MM = 10.0
WORK_SIDE_PX = 1600
# Without scale a photo is taken to show one board some 200 mm wide.
ASSUMED_PX_PER_MM = 8.0


@dataclass(frozen=True)
class WorkPicture:
    """A reduced picture ready to be searched.

    Attributes:
        rgb: uint8 (height, width, 3).
        linear: balanced linear RGB, float32, same shape.
        px_per_mm: of this picture.
        factor: its width ÷ the photo's.
        hidden: uint8 (height, width), 1 where the scale target lies.
    """

    rgb: NDArray[np.uint8]
    linear: NDArray[np.float32]
    px_per_mm: float
    factor: float
    hidden: NDArray[np.uint8]


class ClassicalSegmenter:
    """See the module's docstring."""

    name = "classical-1"

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        """Coverage of one photo; without scale, sizes are judged as if the frame showed one board."""
        work = work_picture(photo.rgb, scale)
        pixel_scorer, region_scorer = _scorers()
        pixels = pixel_features(work.linear, work.px_per_mm)
        score = pixel_scorer.score(pixels)
        score[work.hidden > 0] = -np.inf
        table = describe_regions(pixels, score, work.px_per_mm)
        keep = np.zeros(int(table.labels.max()) + 1, bool)
        keep[table.numbers[region_scorer.score(table.features) > 0]] = True
        small = keep[table.labels].astype(np.uint8)
        size = (photo.width_px, photo.height_px)
        mask = cv2.resize(small * np.uint8(255), size, interpolation=cv2.INTER_LINEAR) > 127
        band = 1 if work.factor == 1 else int(np.ceil(0.5 / work.factor)) + 1
        share = unmix_edges(photo.rgb, mask, work.px_per_mm / work.factor, band)
        return Coverage(
            share=share,
            board=board_mask(photo.rgb, hidden_mask(photo.rgb.shape, scale)) | mask,
            segmenter=self.name,
            area_inputs=error_inputs(self.name, photo.short_id, scale, share),
            notices=quality_notices(photo.rgb, share, scale),
        )


def work_picture(rgb: NDArray[np.uint8], scale: Scale | None) -> WorkPicture:
    """Reduce and balance a photo."""
    height, width = rgb.shape[:2]
    px_per_mm = scale.px_per_mm if scale else None
    factor = min(1.0, WORK_SIDE_PX / max(height, width), WORK_PX_PER_MM / px_per_mm if px_per_mm else 1.0)
    size = (max(1, round(width * factor)), max(1, round(height * factor)))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA) if factor < 1 else rgb
    balance = white_balance(rgb, scale)
    hidden = cv2.resize(hidden_mask(rgb.shape, scale), size, interpolation=cv2.INTER_NEAREST)
    return WorkPicture(
        rgb=np.asarray(small, np.uint8),
        linear=balance.apply(to_linear(np.asarray(small, np.uint8))),
        px_per_mm=px_per_mm * factor if px_per_mm else ASSUMED_PX_PER_MM,
        factor=factor,
        hidden=np.asarray(hidden, np.uint8),
    )


def white_balance(rgb: NDArray[np.uint8], scale: Scale | None) -> WhiteBalance:
    """From grey patches where they are in sight, else estimated."""
    patches = from_grey_patches(rgb, scale.grey_patches) if scale else None
    return patches or estimate(rgb)


def hidden_mask(shape: tuple[int, ...], scale: Scale | None) -> NDArray[np.uint8]:
    """uint8 (height, width), 1 where the scale target's sheet lies."""
    mask = np.zeros(shape[:2], np.uint8)
    for outline in scale.target_px if scale else ():
        cv2.fillPoly(mask, [np.round(outline).astype(np.int32)], 1)
    return mask


@functools.cache
def _scorers() -> tuple[Scorer, Scorer]:
    data = json.loads(packaged_text("grader.coverage", "data/classical.json"))
    return Scorer.from_json(data["pixel"]), Scorer.from_json(data["region"])
