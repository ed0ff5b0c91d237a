"""Division of looks into boards: the likeliest of the divisions that were drawn, and the doubts about it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from grader.listing.assign import Group, Said, divide
from grader.listing.draws import NONE, Draws, drawn
from grader.listing.match import Pair
from grader.listing.odds import match_figures
from grader.listing.weights import LookEvidence, Member

_SURE = 30.0  # logarithm of the odds of a person's statement about a single look


@dataclass(frozen=True)
class MatchDoubt:
    """Something in the division that may be otherwise.

    Attributes:
        chance: the chance that it is otherwise.
        first: a group, by its place in the division.
        second: the group that may be at the same board; None where the first may be at two boards, or at none.
        is_back: whether the second may be the first's other face.
        parted: the look of the first that may be at a board of its own.
        is_none: whether the first may not be a board at all.
    """

    chance: float
    first: int
    second: int | None = None
    is_back: bool = False
    parted: tuple[int, ...] = ()
    is_none: bool = False


@dataclass(frozen=True, eq=False)
class Division:
    """A division of looks into boards.

    Attributes:
        groups: one for each board, in the order of their first looks.
        none: looks that are not at a board.
        doubts: possible errors, the likeliest first.
        draws: draws from all divisions, by their chances.
        sure: for each look, the chance that the division has it at the right place.
    """

    groups: tuple[Group, ...]
    none: tuple[int, ...]
    doubts: tuple[MatchDoubt, ...]
    draws: Draws
    sure: tuple[float, ...]


def division_of(
    photo_of: Sequence[int],
    same: Mapping[Pair, float],
    opposite: Mapping[Pair, float],
    is_part: Sequence[bool],
    none: Sequence[float],
    said: Said,
) -> Division:
    """The likeliest division of looks, and draws from all.

    Args:
        photo_of: the photo of each look.
        same: for each two looks of different photos, the logarithm of the odds for one face of one board.
        opposite: the same for the two faces of one board, for each two looks that may show them.
        is_part: whether each look shows only a part of its board.
        none: logarithm of the odds that an outline is not at a board.
        said: a person's statements about them.
    """
    start = divide(photo_of, same, opposite, said)
    k = match_figures()
    evidence = LookEvidence(
        photo_of,
        {p: told - k["limits"]["one_board"] for p, told in same.items()},
        {p: told - k["opposite"]["two_faces"] for p, told in opposite.items()},
        is_part,
        [_told(said, n, odds) for n, odds in enumerate(none)],
        said,
    )
    draws = drawn(evidence, [_members(group) for group in start if not set(group.looks) <= said.none])
    board, is_back = draws.board[draws.likeliest], draws.is_back[draws.likeliest]
    groups = tuple(_group(np.flatnonzero(board == n), is_back) for n in range(int(draws.counts[draws.likeliest])))
    left_out = tuple(np.flatnonzero(board == NONE).tolist())
    return Division(groups, left_out, _doubts(groups, draws), draws, _sure(groups, left_out, draws))


def _told(said: Said, look: int, odds: float) -> float:
    return _SURE if look in said.none else -_SURE if look in said.boards else odds


def _members(group: Group) -> list[Member]:
    return [*((n, False) for n in group.fronts), *((n, True) for n in group.backs)]


def _group(looks: NDArray[np.intp], is_back: NDArray[np.bool_]) -> Group:
    fronts, backs = (tuple(n for n in looks.tolist() if is_back[n] == face) for face in (False, True))
    return Group(fronts, backs) if fronts else Group(backs)


def board_in_draws(looks: Sequence[int], draws: Draws) -> NDArray[np.int64]:
    """The board that most of the given looks are at, in each draw; ``NONE`` where most are not at a board."""
    own = draws.board[:, list(looks)]
    votes = (own[:, :, None] == own[:, None, :]).sum(2)
    return np.asarray(own[np.arange(len(own)), votes.argmax(1)])


def _doubts(groups: Sequence[Group], draws: Draws) -> tuple[MatchDoubt, ...]:
    at = [board_in_draws(group.looks, draws) for group in groups]
    found = []
    for a, b in combinations(range(len(groups)), 2):
        is_one = (at[a] == at[b]) & (at[a] != NONE)
        faces = [draws.is_back[:, list(g.fronts)].mean(1) > 0.5 for g in (groups[a], groups[b])]
        for is_back in (False, True):
            chance = float((is_one & ((faces[0] != faces[1]) == is_back)).mean())
            found.append(MatchDoubt(chance, a, second=b, is_back=is_back))
    for n, group in enumerate(groups):
        found.append(MatchDoubt(float((at[n] == NONE).mean()), n, is_none=True))
        if len(group.looks) > 1:
            others = np.array([board for m, board in enumerate(at) if m != n])
            own = [_is_parted(draws.board[:, look], at[n], others) for look in group.looks]
            chance, look = max(zip(own, group.looks, strict=True))
            found.append(MatchDoubt(chance, n, parted=(look,)))
    least = float(match_figures()["limits"]["least_chance"])
    kept = [d for d in found if d.chance >= least]
    return tuple(sorted(kept, key=lambda d: (-d.chance, d.first, d.second or 0, d.is_none, d.is_back)))


def _is_parted(look: NDArray[np.int64], at: NDArray[np.int64], others: NDArray[np.int64]) -> float:
    """Chance that a look is at a board that is not in the division."""
    elsewhere = (look != NONE) & (look != at)
    return float((elsewhere & ~(others == look).any(0)).mean()) if len(others) else float(elsewhere.mean())


def _sure(groups: Sequence[Group], none: Sequence[int], draws: Draws) -> tuple[float, ...]:
    sure: FloatArray = np.zeros(draws.board.shape[1])
    for look in none:
        sure[look] = (draws.board[:, look] == NONE).mean()
    for group in groups:
        for look in group.looks:
            others = [n for n in group.looks if n != look]
            at = draws.board[:, look]
            is_there = at != NONE if not others else (at == board_in_draws(others, draws)) & (at != NONE)
            sure[look] = is_there.mean()
    return tuple(sure.tolist())


def none_odds(chance: float) -> float:
    """Logarithm of the odds that an outline is not at a board, from its chance in one photo."""
    held = min(max(chance, 1e-6), 1 - 1e-6)
    return math.log(held / (1 - held))
