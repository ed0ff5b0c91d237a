"""Plated area in mm² by finish and by board, as models whose inputs stay shared.

Where a region's finish is in doubt, an input that is 0 or 1 moves its area between hard and immersion gold, so that
the doubt reaches areas by finish and gold. All doubts of a photo are drawn together: a photo that misleads about one
region misleads about others like it, and the ranges must not shrink with the number of regions.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.distributions import Distribution
from calibration.finishes import HARD_GOLD, IMMERSION_GOLD, UNDETERMINED
from calibration.inputs import Input
from calibration.scale import Scale
from grader.coverage import Coverage
from grader.coverage.plated import around_plating
from grader.model import EMPTY, FINISHES, Finish, ProductModel
from grader.regions import Region, Regions

# what regions have in common whose area can be added up: finish, doubt about it in steps, whether painted by hand
RegionKind = tuple[Finish, int, bool]

_CHUNK = 200_000
_EITHER = (HARD_GOLD, IMMERSION_GOLD)
_STEPS = 20  # a chance of hard gold is rounded to so many steps


@dataclass(frozen=True)
class AreaEstimate:
    """Visible plated area.

    Attributes:
        by_finish: mm², for each finish that was found or may be there.
        by_board: the same for each board of ``Regions.boards``, in their order.
        total: mm².
    """

    by_finish: Mapping[Finish, ProductModel]
    by_board: tuple[Mapping[Finish, ProductModel], ...]
    total: ProductModel


def estimate_area(coverage: Coverage, regions: Regions, scale: Scale, photo_id: str = "") -> AreaEstimate:
    """Area = Σ coverage × true pixel area, with the factors of scale, and of segmentation or painting by hand.

    Args:
        coverage: of the photo.
        regions: of the photo.
        scale: of the photo.
        photo_id: names the doubt about finishes, which is this photo's alone; photos that leave it out share theirs.
    """
    mm2 = region_sums(coverage.share, regions.labels, scale)
    found, painted = ((*scale.area_inputs, *own) for own in (coverage.area_inputs, coverage.painted_inputs))
    by_board = tuple(
        _by_finish(_sums(mm2, [r for r in regions.regions if r.board == board]), found, painted, photo_id)
        for board in range(len(regions.boards))
    )
    whole = _sums(mm2, regions.regions)
    whole[UNDETERMINED, 0, False] += float(mm2[0])
    by_hand = sum(float(mm2[r.number]) for r in regions.regions if r.painted)
    return AreaEstimate(
        by_finish=_by_finish(whole, found, painted, photo_id),
        by_board=by_board,
        total=_product(float(mm2.sum()) - by_hand, found) + _product(by_hand, painted),
    )


def region_sums(share: NDArray[np.uint8], labels: NDArray[np.uint16], scale: Scale | None) -> FloatArray:
    """Area of each label: mm², or px² without scale; float64 (highest label + 1,), label 0 = pixels of no region."""
    sums = np.zeros(int(labels.max()) + 1)
    around = rows, columns = around_plating(share)
    share, labels = share[around], labels[around]
    at = np.flatnonzero(share > 0)
    for start in range(0, len(at), _CHUNK):
        some = at[start : start + _CHUNK]
        y, x = np.divmod(some, share.shape[1])
        weight = share.take(some) / 255.0
        if scale is not None:
            weight = weight * scale.plane.pixel_area_mm2(
                np.column_stack([x + columns.start, y + rows.start]).astype(np.float64)
            )
        sums += np.bincount(labels.take(some), weight, minlength=len(sums))
    return sums


def area_kind(region: Region) -> RegionKind:
    """What a region has in common with those whose area can be added to its own."""
    return region.finish, round(region.doubt * _STEPS), region.painted


def area_of_kind(
    kind: RegionKind, area_mm2: float, coverage: Coverage, scale: Scale, photo_id: str = ""
) -> dict[Finish, ProductModel]:
    """So many mm² of one kind of regions, with the same inputs as in ``estimate_area``."""
    found, painted = ((*scale.area_inputs, *own) for own in (coverage.area_inputs, coverage.painted_inputs))
    return _by_finish({kind: area_mm2}, found, painted, photo_id)


def _product(area_mm2: float, inputs: tuple[Input, ...]) -> ProductModel:
    return ProductModel.of(area_mm2, inputs) if area_mm2 > 0 else EMPTY


def _sums(mm2: FloatArray, regions: Iterable[Region]) -> dict[RegionKind, float]:
    sums: dict[RegionKind, float] = defaultdict(float)
    for region in regions:
        sums[area_kind(region)] += float(mm2[region.number])
    return sums


def _by_finish(
    sums: Mapping[RegionKind, float],
    found: tuple[Input, ...],
    painted: tuple[Input, ...],
    photo_id: str,
) -> dict[Finish, ProductModel]:
    by_finish: dict[Finish, ProductModel] = dict.fromkeys(FINISHES, EMPTY)
    for (finish, steps, by_hand), area in sums.items():
        if area <= 0:
            continue
        known = ProductModel.of(area, painted if by_hand else found)
        if steps == 0 or finish not in _EITHER:
            by_finish[finish] += known
            continue
        is_hard = _finish_input(photo_id, _STEPS - steps if finish == HARD_GOLD else steps)
        by_finish[HARD_GOLD] += known.times([is_hard])
        by_finish[IMMERSION_GOLD] += known + known.times([is_hard], -1.0)
    return {f: model for f, model in by_finish.items() if model.terms}


def _finish_input(photo_id: str, steps: int) -> Input:
    """1 where the regions of one chance are hard gold, otherwise 0."""
    step = f"{steps}-of-{_STEPS}"
    return Input(
        "finish",
        "telling hard gold from immersion gold",
        Distribution("sample", (0.0,) * (_STEPS - steps) + (1.0,) * steps),
        "shape, place and the segmenter's view of the region",
        aligned_over=step,
        of=(photo_id, step),
    )
