"""Number of boards in a heap: from the boards in sight, the area that they cover, and the size of a whole board.

The number in sight (``count_boards``) leaves out boards of which less than a tenth is in sight. Here they are counted
too, as well as boards that the frame cuts off. The spread grows with the size of the heap, because the boards below
are not visible.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.packaged import packaged_toml
from grader.board_count import BoardCount
from grader.regions.count import outline_chances, outline_kind
from grader.regions.model import Board

_WHOLE = frozenset({"alone", "clear", "covered_clear"})
_UNPARTED = frozenset({"rest", "unclear", "any"})


@dataclass(frozen=True)
class Heap:
    """Boards that lie on each other, or that the frame cuts off.

    Attributes:
        count: how many there may be.
        whole_mm2: size of a whole board: the median of those that show their sides, within the frame.
        is_piled: whether boards are seen to lie on each other: one hides another, or an outline in which no boards
            can be told apart is as large as several. Otherwise only the frame cuts boards off, or they touch.
    """

    count: BoardCount
    whole_mm2: float
    is_piled: bool


def heap_of(boards: Sequence[Board], shape: tuple[int, ...]) -> Heap | None:
    """The heap in one photo with scale; None if boards lie side by side and within the frame.

    Args:
        boards: of the photo, in mm².
        shape: height and width of the photo.
    """
    if not boards or any(b.evidence is None for b in boards):
        return None
    kinds = [outline_kind(b) for b in boards]
    cut = [_is_cut(b.outline_px, shape) for b in boards]
    if not any(cut) and all(kind in ("alone", "clear") for kind in kinds):
        return None
    areas = np.array([b.area for b in boards])
    whole = [a for a, kind, c in zip(areas, kinds, cut, strict=True) if kind in _WHOLE and not c]
    size = float(np.median(whole if whole else areas))
    # where no board can be told apart, only the area shows how many there are
    told = [_mean(chances) for chances in outline_chances(boards)]
    by_area = (areas / size).tolist()
    in_sight = sum(max(n, a) if kind in _UNPARTED else n for n, a, kind in zip(told, by_area, kinds, strict=True))
    # every outline that is surely a separate board is in the heap, whatever lies below
    least = max(1, sum(kind in _WHOLE for kind in kinds))
    unparted = (a for a, kind in zip(by_area, kinds, strict=True) if kind in _UNPARTED)
    is_piled = any(b.hidden for b in boards) or max(unparted, default=0.0) >= _figures()["limits"]["several"]
    return Heap(_count(in_sight, sum(by_area), least), size, is_piled)


def with_mass(count: BoardCount, mass_g: FloatArray, board_g: FloatArray) -> BoardCount | None:
    """The number of boards given their mass: each number's chance × the likelihood of the mass with so many boards.

    Args:
        count: by the photo.
        mass_g: draws of the stated mass.
        board_g: draws of one board's mean mass.

    Returns:
        None if no number that the photo allows has such a mass.
    """
    logs = np.log(mass_g) - np.log(board_g)
    middle, sd = float(np.mean(logs)), max(float(np.std(logs)), 1e-6)
    spread = [(n, p * math.exp(-(((math.log(n) - middle) / sd) ** 2) / 2)) for n, p in count.chances]
    if sum(p for _, p in spread) <= _LEAST * max(p for _, p in count.chances):
        return None
    return BoardCount.of(dict(spread))


_LEAST = 1e-6


def _count(in_sight: float, covered: float, least: int) -> BoardCount:
    k, s = _figures()["logarithm"], _figures()["spread"]
    middle = k["constant"] + k["in_sight"] * math.log(in_sight)
    scale = math.exp(s["constant"] + s["covered"] * math.log(max(covered, 1.0)))
    degrees = float(s["degrees"])
    numbers = np.arange(least, int(_figures()["limits"]["most"]) + 1)
    # the density of the logarithm at the number ÷ the number: the chance of the number itself
    z = (np.log(numbers) - middle) / scale
    chances = (1 + z * z / degrees) ** (-(degrees + 1) / 2) / numbers
    return BoardCount.of(dict(zip(numbers.tolist(), (chances / chances.sum()).tolist(), strict=True)))


def _mean(chances: FloatArray) -> float:
    return float(np.arange(len(chances)) @ chances)


def _is_cut(outline_px: FloatArray, shape: tuple[int, ...]) -> bool:
    near, (height, width) = float(_figures()["limits"]["at_frame_px"]), shape[:2]
    x, y = outline_px.T
    return bool((x < near).any() or (y < near).any() or (x > width - 1 - near).any() or (y > height - 1 - near).any())


@functools.cache
def _figures() -> dict[str, Any]:
    return packaged_toml("grader.regions", "data/heap.toml")
