"""Weight of a division of looks into boards: evidence of the looks about each other, and what photos mostly show."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from grader.listing.assign import Said
from grader.listing.match import Pair
from grader.listing.odds import match_figures

Member = tuple[int, bool]  # a look, and whether it is at the board's back
_MOST_MORE = 40  # boards beyond those seen, in the sum over the number of boards
_SAID = 1e3
_MOST_SURE = 50.0


@dataclass(frozen=True, eq=False)
class LookEvidence:
    """Evidence about looks.

    Attributes:
        photo_of: the photo of each.
        same: for two looks of different photos, the logarithm of how much more likely their common ground is for one
            face of one board than for two boards.
        opposite: the same for the two faces of one board. A missing pair is no evidence where one look shows only a
            part of its board; otherwise it is the strongest evidence against.
        is_part: whether a look shows only a part of its board.
        none: logarithm of the odds that an outline is not at a board.
        said: a person's statements about pairs of looks.
    """

    photo_of: Sequence[int]
    same: Mapping[Pair, float]
    opposite: Mapping[Pair, float]
    is_part: Sequence[bool]
    none: Sequence[float]
    said: Said


class Weights:
    """Logarithms of the weights of boards and of numbers of boards."""

    def __init__(self, evidence: LookEvidence) -> None:
        self._e = evidence
        self._limits = match_figures()["limits"]
        self._groups: dict[frozenset[Member], float] = {}
        self._things: dict[frozenset[Member], float] = {}
        self._numbers: dict[tuple[int, tuple[int, ...]], float] = {}
        # a thing's look in another photo may be any of the outlines there
        photos = max(len(set(evidence.photo_of)), 1)
        self._link = -math.log(max(len(evidence.photo_of) / photos, 1.0))

    def group(self, members: frozenset[Member]) -> float:
        """Evidence of the looks at one board: that they share a face, are its two faces, and that it is a board."""
        known = self._groups.get(members)
        if known is None:
            fronts, backs = ([n for n, is_back in members if is_back == face] for face in (False, True))
            known = self._face(fronts) + self._face(backs) + self._faces(fronts, backs)
            known -= math.log1p(math.exp(self._none(members)))
            self._groups[members] = known
        return known

    def thing(self, members: frozenset[Member]) -> float:
        """Evidence that looks are at one thing that is not a board; the errors of its outlines are alike."""
        known = self._things.get(members)
        if known is None:
            looks = [n for n, _ in members]
            known = self._face(looks) + self._link * (len(looks) - 1) - math.log1p(math.exp(-self._none(members)))
            self._things[members] = known
        return known

    def _none(self, members: frozenset[Member]) -> float:
        # the first outline is independent evidence; further ones depend on each other
        weight = (1 + float(self._limits["beside"]) * (len(members) - 1)) / len(members)
        return min(max(weight * sum(self._e.none[n] for n, _ in members), -_MOST_SURE), _MOST_SURE)

    def sides(self, fronts: int, backs: int) -> float:
        """Weight of a photo that shows so many boards from the front and so many from the back."""
        of_backs, other = (math.log(float(self._limits[name])) for name in ("back_photo", "other_side"))
        same = math.log1p(-math.exp(other))
        one = math.log1p(-math.exp(of_backs)) + fronts * same + backs * other
        two = of_backs + backs * same + fronts * other
        return max(one, two) + math.log1p(math.exp(-abs(one - two)))

    def number(self, boards: int, in_photos: tuple[int, ...]) -> float:
        """Probability of photos that each show so many of the boards, and together so many different boards."""
        key = (boards, in_photos)
        known = self._numbers.get(key)
        if known is None:
            known = self._numbers[key] = _number(boards, in_photos)
        return known

    def tree(self, looks: Sequence[int]) -> list[tuple[float, int, int]]:
        """The links that hold looks at one face together: the strongest ones."""
        if len(looks) < 2:
            return []
        found, inside, left = [], [looks[0]], list(looks[1:])
        while left:
            best = max((self.same(i, j), i, j) for i in inside for j in left)
            found.append(best)
            inside.append(best[2])
            left.remove(best[2])
        return found

    def same(self, i: int, j: int) -> float:
        """Evidence that two looks are at one face of one board."""
        p = (min(i, j), max(i, j))
        if self._e.photo_of[i] == self._e.photo_of[j] or p in self._e.said.apart or p in self._e.said.faces:
            return -_SAID
        return _SAID if p in self._e.said.together else self._e.same.get(p, 0.0)

    def opposite(self, i: int, j: int) -> float:
        """Evidence that two looks are at the two faces of one board."""
        p = (min(i, j), max(i, j))
        if self._e.photo_of[i] == self._e.photo_of[j] or p in self._e.said.apart or p in self._e.said.together:
            return -_SAID
        if p in self._e.said.faces:
            return _SAID
        unknown = 0.0 if self._e.is_part[i] or self._e.is_part[j] else float(self._limits["most_against"])
        return self._e.opposite.get(p, unknown)

    def _face(self, looks: Sequence[int]) -> float:
        if len(looks) < 2:
            return 0.0
        tree = sum(each[0] for each in self.tree(sorted(looks)))
        every = sum(self.same(i, j) for n, i in enumerate(looks) for j in looks[n + 1 :])
        return tree + float(self._limits["beside"]) * (every - tree)

    def _faces(self, fronts: Sequence[int], backs: Sequence[int]) -> float:
        told = [self.opposite(i, j) for i in fronts for j in backs]
        if not told:
            return 0.0
        said = [t for t in told if abs(t) >= _SAID]
        return sum(said) if said else sum(told) / len(told)


def _number(boards: int, in_photos: tuple[int, ...]) -> float:
    """Logarithm of the sum over numbers N of boards of 1 / N × [N]_boards / Π [N]_n, [N]_k = N! / (N - k)!."""
    if boards < max(in_photos, default=0):
        return -math.inf
    if boards == 0:
        return 0.0
    total = []
    for number in range(boards, boards + _MOST_MORE):
        each = -math.log(number) + math.lgamma(number + 1) - math.lgamma(number - boards + 1)
        each -= sum(math.lgamma(number + 1) - math.lgamma(number - n + 1) for n in in_photos)
        total.append(each)
    most = max(total)
    return most + math.log(math.fsum(math.exp(t - most) for t in total))
