"""Number of boards behind outlines: each may be one board, part of one, or several; their chances are combined."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cache, reduce
from typing import Any

import numpy as np

from calibration.arrays import FloatArray
from calibration.packaged import packaged_toml
from grader.board_count import BoardCount
from grader.regions.model import Board


def count_boards(boards: Sequence[Board]) -> BoardCount:
    """The number of boards that outlines stand for; the outlines were found with a scale."""
    return _together(_kinds_together(boards))


def outline_chances(boards: Sequence[Board]) -> list[FloatArray]:
    """Chances that each outline of a photo stands for no board, one board, two and so on."""
    return [_chances(kind) for kind in _kinds_together(boards)]


def _kinds_together(boards: Sequence[Board]) -> list[str]:
    """The kind of each outline, given the others of its photo."""
    kinds = [outline_kind(board) for board in boards]
    is_tidy = set(kinds) <= {"alone", "clear"}
    return ["tidy" if is_tidy and kind == "clear" else kind for kind in kinds]


def by_outlines(number: int) -> BoardCount:
    """The number of boards where only the number of outlines is known."""
    return _together(["any"] * number)


def outline_kind(board: Board) -> str:
    """Kind of an outline by its evidence: the name of its row in ``data/count.toml``."""
    evidence = board.evidence
    if evidence is None:
        return "any"
    if evidence.is_alone:
        return "alone"
    if not evidence.rectangles:
        return "rest"
    is_clear = evidence.sides_seen > _figures()["chances"]["most_sides"]
    if board.hidden:
        return "covered_clear" if is_clear else "covered"
    return "clear" if is_clear else "unclear"


def _together(kinds: Iterable[str]) -> BoardCount:
    figures = _figures()["chances"]
    each = [_chances(kind) for kind in kinds]
    missed = float(figures["missed"])
    each = [*each, np.array([1 - missed, missed])] if each else [np.array(figures["without"])]
    return BoardCount.of(dict(enumerate(reduce(np.convolve, each).tolist())))


@cache
def _chances(kind: str) -> FloatArray:
    """Chances that an outline stands for no board, one board, two and so on."""
    figures = _figures()["chances"]
    doubtful = np.array(figures["doubtful"])
    came = np.zeros(len(doubtful))
    counts = _figures()["counts"][kind]
    came[: len(counts)] = counts
    doubt = figures["doubt"]["alone" if kind == "alone" else "touching"]
    return np.asarray((1 - doubt) * came / came.sum() + doubt * doubtful)


@cache
def _figures() -> dict[str, Any]:
    return packaged_toml("grader.regions", "data/count.toml")
