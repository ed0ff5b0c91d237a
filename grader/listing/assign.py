"""Which looks are at one board: the likeliest division, and how unsure each of its links and gaps is.

Looks at one face are joined first, the surest link before others, and then moved one by one while that helps. No two
looks of one photo are at one board. Then faces are paired: those of photos that match no others by their faces are
backs, and find the fronts that they fit best, all together.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from grader.listing.match import Pair
from grader.listing.odds import figures

_ROUNDS = 20
_LEAST_GAIN = 1e-9
_SAID = 1e3  # what a person says outweighs all that was seen


@dataclass(frozen=True)
class Group:
    """The looks that are taken to be at one board.

    Attributes:
        fronts: looks at one face: the one that more looks are at.
        backs: looks at the other one.
    """

    fronts: tuple[int, ...]
    backs: tuple[int, ...] = ()

    @property
    def looks(self) -> tuple[int, ...]:
        """All of them."""
        return (*self.fronts, *self.backs)


@dataclass(frozen=True)
class MatchDoubt:
    """Something in the division that may be otherwise.

    Attributes:
        chance: that it is.
        first: a group, by its place in the division.
        second: the group that may be at the same board; None where the first may be at two boards.
        is_back: whether the second may be the first's other face, or the parted looks may not be.
        parted: the looks of the first that may be at a board of their own.
    """

    chance: float
    first: int
    second: int | None = None
    is_back: bool = False
    parted: tuple[int, ...] = ()


@dataclass(frozen=True)
class Division:
    """Which looks are at one board.

    Attributes:
        groups: one for each board, in the order of their first looks.
        doubts: the likelier first.
    """

    groups: tuple[Group, ...]
    doubts: tuple[MatchDoubt, ...]


@dataclass(frozen=True)
class Said:
    """What a person says of pairs of looks.

    Attributes:
        together: at one face of one board.
        faces: at the two faces of one board.
        apart: at two boards.
    """

    together: frozenset[Pair] = frozenset()
    faces: frozenset[Pair] = frozenset()
    apart: frozenset[Pair] = frozenset()

    @staticmethod
    def of(together: Iterable[Pair] = (), faces: Iterable[Pair] = (), apart: Iterable[Pair] = ()) -> Said:
        """With each pair in order."""
        return Said(*(frozenset((min(p), max(p)) for p in each) for each in (together, faces, apart)))


NOTHING_SAID = Said()


def divide(
    photo_of: Sequence[int], same: Mapping[Pair, float], opposite: Mapping[Pair, float], said: Said = NOTHING_SAID
) -> Division:
    """The likeliest division of looks.

    Args:
        photo_of: the photo of each look.
        same: for each two looks of different photos, the logarithm of the odds for one face of one board.
        opposite: for their being at its two faces, for those that may be.
        said: what a person says of them.
    """
    scores = _Scores(photo_of, same, said)
    faces = _moved(_joined([(n,) for n in range(len(photo_of))], scores), scores)
    faces.sort()
    doubts = _face_doubts(faces, scores)
    pairs = _Pairs(photo_of, faces, same, opposite, said)
    return _paired(faces, pairs, doubts)


class _Scores:
    """What groups of looks say of being at one face of one board."""

    def __init__(self, photo_of: Sequence[int], same: Mapping[Pair, float], said: Said) -> None:
        self._photo_of, self._same, self._said = photo_of, same, said
        self._limits = figures()["limits"]

    def across(self, one: Sequence[int], two: Sequence[int]) -> float:
        """Logarithm of the odds that two groups are at one face of one board."""
        if {self._photo_of[i] for i in one} & {self._photo_of[j] for j in two}:
            return -math.inf
        pairs = [(min(i, j), max(i, j)) for i in one for j in two]
        if any(p in self._said.apart or p in self._said.faces for p in pairs):
            return -math.inf
        if any(p in self._said.together for p in pairs):
            return _SAID
        prior = float(self._limits["one_board"])
        told = sorted((self._same.get(p, prior) - prior for p in pairs), reverse=True)
        return float(self._limits["link"]) + told[0] + float(self._limits["beside"]) * sum(told[1:])


def _joined(groups: Sequence[tuple[int, ...]], scores: _Scores) -> list[tuple[int, ...]]:
    """Join the two groups that speak most for it, until none do."""
    made = dict(enumerate(groups))
    gains = {(a, b): scores.across(made[a], made[b]) for a, b in combinations(made, 2)}
    while gains:
        (a, b), gain = max(gains.items(), key=lambda each: (each[1], (-each[0][0], -each[0][1])))
        if gain <= 0:
            break
        made[a] = tuple(sorted((*made[a], *made.pop(b))))
        gains = {p: g for p, g in gains.items() if not {a, b} & set(p)}
        for n in made:
            if n != a:
                p = (min(a, n), max(a, n))
                gains[p] = scores.across(made[p[0]], made[p[1]])
    return list(made.values())


def _moved(groups: list[tuple[int, ...]], scores: _Scores) -> list[tuple[int, ...]]:
    """Move looks to other groups, or out, while that helps."""
    made = [set(g) for g in groups]
    for _ in range(_ROUNDS):
        is_better = False
        for look in sorted(n for g in made for n in g):
            home = next(g for g in made if look in g)
            rest = sorted(home - {look})
            stays = scores.across((look,), rest) if rest else 0.0
            others = [(scores.across((look,), sorted(g)), -n) for n, g in enumerate(made) if g and g is not home]
            best, at = max(others, default=(-math.inf, 0))
            if best <= max(stays, 0.0) + _LEAST_GAIN and stays >= -_LEAST_GAIN:
                continue
            home.discard(look)
            if best > 0:
                made[-at].add(look)
            else:
                made.append({look})
            is_better = True
        made = [set(g) for g in _joined([tuple(sorted(g)) for g in made if g], scores)]
        if not is_better:
            break
    return [tuple(sorted(g)) for g in made]


def _face_doubts(faces: Sequence[tuple[int, ...]], scores: _Scores) -> list[MatchDoubt]:
    """Gaps that may be links, and links that may be gaps, between looks at one face."""
    found = []
    for a, b in combinations(range(len(faces)), 2):
        chance = _chance(scores.across(faces[a], faces[b]))
        if chance is not None:
            found.append(MatchDoubt(chance, a, second=b))
    for n, own in enumerate(faces):
        if len(own) < 2:
            continue
        held, look = min((scores.across((m,), [k for k in own if k != m]), m) for m in own)
        chance = _chance(-held)
        if chance is not None:
            found.append(MatchDoubt(chance, n, parted=(look,)))
    return found


class _Pairs:
    """What groups of looks at one face say of being the two faces of one board."""

    def __init__(
        self,
        photo_of: Sequence[int],
        faces: Sequence[tuple[int, ...]],
        same: Mapping[Pair, float],
        opposite: Mapping[Pair, float],
        said: Said,
    ) -> None:
        self._photo_of, self._faces, self._opposite, self._said = photo_of, faces, opposite, said
        self._back_photos = _back_photos(photo_of, faces)
        self._limits = figures()["limits"]
        del same

    def between(self, a: int, b: int) -> float:
        """Logarithm of the odds for two groups."""
        one, two = self._faces[a], self._faces[b]
        if {self._photo_of[i] for i in one} & {self._photo_of[j] for j in two}:
            return -math.inf
        pairs = [(min(i, j), max(i, j)) for i in one for j in two]
        if any(p in self._said.apart or p in self._said.together for p in pairs):
            return -math.inf
        if any(p in self._said.faces for p in pairs):
            return _SAID
        told = [self._opposite[p] for p in pairs if p in self._opposite]
        if not told:
            return -math.inf
        are_backs = [all(self._photo_of[i] in self._back_photos for i in group) for group in (one, two)]
        bonus = self._limits["back_photo"] if are_backs[0] != are_backs[1] else self._limits["no_back_photo"]
        return float(sum(told) / len(told) + bonus)


def _back_photos(photo_of: Sequence[int], faces: Sequence[tuple[int, ...]]) -> frozenset[int]:
    """Photos of which few looks match others by their faces, where most of the other photos' looks do."""
    looks: dict[int, list[bool]] = {}
    for group in faces:
        for look in group:
            looks.setdefault(photo_of[look], []).append(len(group) > 1)
    most = float(figures()["limits"]["most_matched"])
    shares = {photo: sum(m) / len(m) for photo, m in looks.items()}
    found = frozenset(photo for photo, share in shares.items() if share <= most)
    # two photos, one of each face: none matches another; the larger number of looks, then the first, are fronts
    if len(found) == len(shares) and found:
        first = max(shares, key=lambda photo: (len(looks[photo]), -photo))
        return found - {first}
    return found


def _paired(faces: Sequence[tuple[int, ...]], pairs: _Pairs, doubts: Sequence[MatchDoubt]) -> Division:
    """Faces in pairs, all together as likely as can be: the best first, then exchanged while that helps."""
    scores = {(a, b): pairs.between(a, b) for a, b in combinations(range(len(faces)), 2)}
    likely = {p: s for p, s in scores.items() if s > 0}
    chosen: dict[int, int] = {}
    for a, b in sorted(likely, key=lambda p: (-likely[p], p)):
        if a not in chosen and b not in chosen:
            chosen[a], chosen[b] = b, a
    chosen = _exchanged(chosen, likely)
    groups: list[Group] = []
    place: dict[int, int] = {}
    for n, own in enumerate(faces):
        if n in place:
            continue
        place[n] = len(groups)
        mate = chosen.get(n)
        if mate is None:
            groups.append(Group(own))
            continue
        place[mate] = len(groups)
        front, back = sorted((own, faces[mate]), key=lambda g: (-len(g), g))
        groups.append(Group(front, back))
    told = [_at(d, place) for d in doubts]
    for (a, b), score in scores.items():
        if chosen.get(a) == b:
            chance = _chance(-score)
            if chance is not None:
                told.append(MatchDoubt(chance, place[a], is_back=True, parted=groups[place[a]].backs))
        elif a not in chosen and b not in chosen:
            chance = _chance(score)
            if chance is not None:
                told.append(MatchDoubt(chance, place[a], second=place[b], is_back=True))
    kept = (d for d in told if d.second is None or d.second != d.first)
    return Division(tuple(groups), tuple(sorted(kept, key=lambda d: (-d.chance, d.first, d.second or 0))))


def _exchanged(chosen: dict[int, int], likely: Mapping[Pair, float]) -> dict[int, int]:
    """Exchange partners of two pairs while the sum of their odds grows."""

    def score(a: int, b: int) -> float:
        return likely.get((min(a, b), max(a, b)), -math.inf)

    for _ in range(_ROUNDS):
        is_better = False
        for a, b in combinations(sorted({(min(p), max(p)) for p in chosen.items()}), 2):
            now = score(*a) + score(*b)
            ways = [((a[0], b[0]), (a[1], b[1])), ((a[0], b[1]), (a[1], b[0]))]
            best = max(ways, key=lambda w: score(*w[0]) + score(*w[1]))
            if score(*best[0]) + score(*best[1]) > now + _LEAST_GAIN:
                for one, two in best:
                    chosen[one], chosen[two] = two, one
                is_better = True
                break
        if not is_better:
            break
    return chosen


def _at(doubt: MatchDoubt, place: Mapping[int, int]) -> MatchDoubt:
    second = None if doubt.second is None else place[doubt.second]
    first = place[doubt.first]
    if second is not None and second < first:
        first, second = second, first
    return MatchDoubt(doubt.chance, first, second, doubt.is_back, doubt.parted)


def _chance(score: float) -> float | None:
    """Chance from a logarithm of odds; None where it is next to none."""
    if score == -math.inf:
        return None
    chance = 1 / (1 + math.exp(min(-score, 700.0)))
    return chance if chance >= float(figures()["limits"]["least_chance"]) else None
