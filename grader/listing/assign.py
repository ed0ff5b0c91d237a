"""A first division of looks into boards, from which divisions are drawn (``draws.py``).

Looks at one face are joined first, the surest link before others, and then moved one by one while that helps. No two
looks of one photo are at one board. Then faces are paired. Faces in photos that match no other photos are backs. They
are paired with the fronts so that all pairs together fit best.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from grader.listing.match import Pair
from grader.listing.odds import match_figures

_ROUNDS = 20
_LEAST_GAIN = 1e-9
_SAID = 1e3  # a person's word outweighs all that was seen


@dataclass(frozen=True)
class Group:
    """The looks that are taken to be at one board.

    Attributes:
        fronts: looks at one face; at the front where both are seen.
        backs: looks at the other face.
    """

    fronts: tuple[int, ...]
    backs: tuple[int, ...] = ()

    @property
    def looks(self) -> tuple[int, ...]:
        """All of them."""
        return (*self.fronts, *self.backs)


@dataclass(frozen=True)
class Said:
    """A person's statements about looks.

    Attributes:
        together: pairs at one face of one board.
        faces: pairs at the two faces of one board.
        apart: pairs at two different boards.
        none: looks that are not at a board.
        boards: looks at boards.
    """

    together: frozenset[Pair] = frozenset()
    faces: frozenset[Pair] = frozenset()
    apart: frozenset[Pair] = frozenset()
    none: frozenset[int] = frozenset()
    boards: frozenset[int] = frozenset()

    @staticmethod
    def of(
        together: Iterable[Pair] = (),
        faces: Iterable[Pair] = (),
        apart: Iterable[Pair] = (),
        none: Iterable[int] = (),
        boards: Iterable[int] = (),
    ) -> Said:
        """Statements with each pair in order."""
        one, two, three = (frozenset((min(p), max(p)) for p in each) for each in (together, faces, apart))
        return Said(one, two, three, frozenset(none), frozenset(boards))


NOTHING_SAID = Said()


def divide(
    photo_of: Sequence[int], same: Mapping[Pair, float], opposite: Mapping[Pair, float], said: Said = NOTHING_SAID
) -> list[Group]:
    """A likely division of looks, in the order of the boards' first looks.

    Args:
        photo_of: the photo of each look.
        same: for each two looks of different photos, the logarithm of the odds for one face of one board.
        opposite: the same for the two faces of one board, for each two looks that may show them.
        said: a person's statements about them.
    """
    scores = _Scores(photo_of, same, said)
    faces = _moved(_joined([(n,) for n in range(len(photo_of))], scores), scores)
    faces.sort()
    return _paired(faces, _Pairs(photo_of, faces, opposite, said))


class _Scores:
    """Evidence that groups of looks are at one face of one board."""

    def __init__(self, photo_of: Sequence[int], same: Mapping[Pair, float], said: Said) -> None:
        self._photo_of, self._same, self._said = photo_of, same, said
        self._limits = match_figures()["limits"]

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
    """Join the two groups with the best odds, again and again, while the odds favour it."""
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


class _Pairs:
    """Evidence that groups of looks, each at one face, are at the two faces of one board."""

    def __init__(
        self,
        photo_of: Sequence[int],
        faces: Sequence[tuple[int, ...]],
        opposite: Mapping[Pair, float],
        said: Said,
    ) -> None:
        self._photo_of, self._faces, self._opposite, self._said = photo_of, faces, opposite, said
        self._back_photos = back_photos(photo_of, faces)
        self._limits = match_figures()["limits"]

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
        differ = self.are_backs(one) != self.are_backs(two)
        bonus = self._limits["at_backs"] if differ else self._limits["at_fronts"]
        return float(sum(told) / len(told) + bonus)

    def are_backs(self, looks: Sequence[int]) -> bool:
        """Whether all are in photos of backs."""
        return all(self._photo_of[n] in self._back_photos for n in looks)


def back_photos(photo_of: Sequence[int], faces: Sequence[tuple[int, ...]]) -> frozenset[int]:
    """Photos of which few looks match the faces in other photos, while most looks of the other photos do."""
    looks: dict[int, list[bool]] = {}
    for group in faces:
        for look in group:
            looks.setdefault(photo_of[look], []).append(len(group) > 1)
    most = float(match_figures()["limits"]["most_matched"])
    shares = {photo: sum(m) / len(m) for photo, m in looks.items()}
    found = frozenset(photo for photo, share in shares.items() if share <= most)
    # two photos, one of each face: no looks match; fronts are the photo with more looks, or the first if equal
    if len(found) == len(shares) and found:
        first = max(shares, key=lambda photo: (len(looks[photo]), -photo))
        return found - {first}
    return found


def _paired(faces: Sequence[tuple[int, ...]], pairs: _Pairs) -> list[Group]:
    """Faces in pairs that are together as likely as possible: the best first, then exchanged while that helps."""
    scores = {(a, b): pairs.between(a, b) for a, b in combinations(range(len(faces)), 2)}
    likely = {p: s for p, s in scores.items() if s > 0}
    chosen: dict[int, int] = {}
    for a, b in sorted(likely, key=lambda p: (-likely[p], p)):
        if a not in chosen and b not in chosen:
            chosen[a], chosen[b] = b, a
    chosen = _exchanged(chosen, likely)
    groups: list[Group] = []
    for n, own in enumerate(faces):
        mate = chosen.get(n)
        if mate is None:
            groups.append(Group(own))
        elif n < mate:
            front, back = sorted((own, faces[mate]), key=lambda g: (pairs.are_backs(g), -len(g), g))
            groups.append(Group(front, back))
    return groups


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
