"""Plated area in mm² by finish and by board, as models whose inputs stay shared."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.inputs import Input
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.model import EMPTY, FINISHES, Finish, ProductModel
from grader.regions import Regions

FloatArray = NDArray[np.float64]

_CHUNK = 200_000


@dataclass(frozen=True)
class AreaEstimate:
    """Visible plated area.

    Attributes:
        by_finish: mm², for each finish that was found.
        by_board: the same for each board of ``Regions.boards``, in their order.
        total: mm².
    """

    by_finish: Mapping[Finish, ProductModel]
    by_board: tuple[Mapping[Finish, ProductModel], ...]
    total: ProductModel


def estimate_area(coverage: Coverage, regions: Regions, scale: Scale) -> AreaEstimate:
    """Area = Σ coverage × true pixel area, with the factors of scale and segmentation."""
    mm2 = region_sums(coverage.share, regions.labels, scale)
    inputs = (*scale.area_inputs, *coverage.area_inputs)
    by_board = tuple(
        _by_finish(mm2, regions, inputs, [r.board == board for r in regions.regions], loose=False)
        for board in range(len(regions.boards))
    )
    by_finish = _by_finish(mm2, regions, inputs, [True] * len(regions.regions), loose=True)
    return AreaEstimate(by_finish, by_board, sum(by_finish.values(), EMPTY))


def region_sums(share: NDArray[np.uint8], labels: NDArray[np.uint16], scale: Scale | None) -> FloatArray:
    """Area of each label: mm², or px² without scale; float64 (highest label + 1,), label 0 = loose faint pixels."""
    ys, xs = np.nonzero(share)
    sums = np.zeros(int(labels.max()) + 1)
    for start in range(0, len(ys), _CHUNK):
        y, x = ys[start : start + _CHUNK], xs[start : start + _CHUNK]
        weight = share[y, x] / 255.0
        if scale is not None:
            weight = weight * scale.plane.pixel_area_mm2(np.column_stack([x, y]).astype(np.float64))
        sums += np.bincount(labels[y, x], weight, minlength=len(sums))
    return sums


def _by_finish(
    mm2: FloatArray, regions: Regions, inputs: tuple[Input, ...], chosen: list[bool], *, loose: bool
) -> dict[Finish, ProductModel]:
    sums: dict[Finish, float] = dict.fromkeys(FINISHES, 0.0)
    for region, wanted in zip(regions.regions, chosen, strict=True):
        if wanted:
            sums[region.finish] += float(mm2[region.number])
    if loose:
        sums["undetermined"] += float(mm2[0])
    return {f: ProductModel.of(v, inputs) for f, v in sums.items() if v > 0}
