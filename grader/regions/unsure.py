"""Places where the segmenter is not sure of the plating: a person should look at them.

The doubt follows from the shares themselves: Σ p (1 − p) ÷ Σ p over a region. Of 328 regions on 27 photographs that
no run saw, each with at least a fiftieth of the plating found, 4 % were false below a doubt of 0.25 and 71 % above.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from grader.coverage import Coverage
from grader.regions.model import Region, Regions

_UNSURE = 0.25
_LEAST_SHARE = 0.02  # of all plating found: less is not worth a question
_MOST = 5
_MOST_POINTS = 200
_MARGIN = 0.3  # of its longer side, around a place that is shown


@dataclass(frozen=True)
class UnsurePlace:
    """Doubtful plating: one region, or the regions of a row together.

    Attributes:
        at_px: a place inside each of its regions, the largest first.
        box_px: left, top, right and bottom of a box that shows it with its surroundings.
        share: of all plating that was found.
    """

    at_px: tuple[tuple[float, float], ...]
    box_px: tuple[int, int, int, int]
    share: float


def unsure_places(coverage: Coverage, regions: Regions) -> tuple[UnsurePlace, ...]:
    """Places to ask a person about, those with the most plating first, without those that a person has judged.

    Args:
        coverage: of the photo.
        regions: found in the photo.
    """
    ys, xs = np.nonzero(coverage.share)
    labels, count = regions.labels[ys, xs], len(regions.regions) + 1
    share = coverage.share[ys, xs] / 255.0
    whole = np.bincount(labels, share, count)
    squares = np.bincount(labels, share**2, count)
    groups: dict[tuple[str, int], list[Region]] = defaultdict(list)
    for region in regions.regions:
        if not (region.painted or region.judged) and whole[region.number] > 0:
            groups[("row", region.row) if region.row is not None else ("region", region.number)].append(region)
    total = float(whole.sum())
    asked = []
    for group in groups.values():
        numbers = sorted((r.number for r in group), key=lambda n: -whole[n])
        held = float(whole[numbers].sum())
        if held >= _LEAST_SHARE * total and held - float(squares[numbers].sum()) > _UNSURE * held:
            asked.append((held / total, numbers[:_MOST_POINTS]))
    order = np.argsort(labels, kind="stable")
    first = np.searchsorted(labels[order], np.arange(count + 1))

    def pixels(number: int) -> np.ndarray:
        own = order[first[number] : first[number + 1]]
        return np.column_stack([xs[own], ys[own], coverage.share[ys[own], xs[own]]])

    size = coverage.share.shape[::-1]
    return tuple(
        _place([pixels(n) for n in numbers], part, size) for part, numbers in sorted(asked, reverse=True)[:_MOST]
    )


def _place(pixels: list[np.ndarray], share: float, size: tuple[int, ...]) -> UnsurePlace:
    at = tuple((float(x), float(y)) for x, y, _ in (own[int(np.argmax(own[:, 2]))] for own in pixels))
    low = np.min([own[:, :2].min(axis=0) for own in pixels], axis=0)
    high = np.max([own[:, :2].max(axis=0) for own in pixels], axis=0) + 1
    margin = int(np.ceil(_MARGIN * float((high - low).max()))) + 8
    left, top = (max(int(v) - margin, 0) for v in low)
    right, bottom = (min(int(v) + margin, most) for v, most in zip(high, size, strict=True))
    return UnsurePlace(at, (left, top, right, bottom), share)
