"""The stable interface of all segmenters: a photo and its scale, if known, go in; coverage comes out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from calibration.inputs import Input
from calibration.notices import Notice
from calibration.scale import Scale
from grader.coverage.plated import around_plating
from grader.photo import Photo


@dataclass(frozen=True, eq=False)
class Coverage:
    """Share of each pixel that is plated with gold.

    Attributes:
        share: uint8 (height, width), 255 = wholly plated. Area is Σ share / 255 × true pixel area.
        board: bool (height, width): where the segmenter believes that there is a board (for outlines).
        segmenter: name and version of the segmenter that made it.
        area_inputs: factors on area (distributions about 1): the segmenter's own error.
        notices: what the user should know (clipped gold, contacts too narrow for the picture, …).
        contact: uint8 (height, width), 255 = surely part of an edge contact rather than of a pad; None if the
            segmenter does not report it.
        painted_inputs: factors on the area of regions that were painted in by hand, in place of ``area_inputs``.
        doubt: the segmenter's doubt about what it found, 0..1 (``error.doubt_of``); None if it cannot tell.
    """

    share: NDArray[np.uint8]
    board: NDArray[np.bool_]
    segmenter: str
    area_inputs: tuple[Input, ...]
    notices: tuple[Notice, ...] = ()
    contact: NDArray[np.uint8] | None = None
    painted_inputs: tuple[Input, ...] = ()
    doubt: float | None = None

    @cached_property
    def plated_box(self) -> tuple[slice, slice]:
        """Rows and columns around all plating (``around_plating``), looked for once: the share is not changed."""
        return around_plating(self.share)


class Segmenter(Protocol):
    """Finds plated area. Implementations hold no state between photos."""

    name: str

    def segment(self, photo: Photo, scale: Scale | None) -> Coverage:
        """Coverage of one photo; without scale, sizes are judged from the picture alone."""
