"""Divisions of looks into boards, drawn by their chances: how many boards there are, and which looks are at them.

The weight of a division is the evidence of its looks about each other, times the probability that photos show just
these boards. No board is twice in a photo, and photos that each show nine outlines, eight of them matched, are more
likely to show nine boards than ten. Looks may also be at a thing that is not a board: a cable, a label, or a piece of
a board that another outline holds. A photo mostly shows all its boards from one side.

Method: Markov chain Monte Carlo over divisions. Looks move one at a time (Gibbs), and whole boards are joined and
split (Metropolis-Hastings). Before looks are compared, the probability of a division is that of photos which each
show some of N boards, drawn without replacement, with N unknown: the prior of record linkage (M. Sadinle, 2017,
"Bayesian estimation of bipartite matchings for record linkage", J. Am. Stat. Assoc. 112, for two files; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from grader.listing.weights import LookEvidence, Member, Weights

NONE = -1  # in draws: the look is not at a board
_SEED = 20_101
_LEAST_LINK = -4.0  # a look is tried with a board if its link to any look of the board is stronger than this


@dataclass(frozen=True, eq=False)
class Draws:
    """Divisions, each as likely as the others.

    Attributes:
        board: int (draws, looks): the board of each look, numbered anew in each draw; ``NONE`` for no board.
        is_back: bool (draws, looks): whether each look is at the back of its board.
        likeliest: the draw with the largest weight.
    """

    board: NDArray[np.int64]
    is_back: NDArray[np.bool_]
    likeliest: int

    @property
    def counts(self) -> NDArray[np.int64]:
        """Boards in each draw."""
        return np.asarray(self.board.max(1, initial=NONE) + 1)


def drawn(evidence: LookEvidence, start: Sequence[Sequence[Member]], draws: int = 250, seed: int = _SEED) -> Draws:
    """Draw divisions.

    Args:
        evidence: evidence about the looks.
        start: boards to begin with; looks that are not in any of them are not at a board.
        draws: number of divisions.
        seed: seed of the random numbers.
    """
    chain = _Chain(evidence, start, np.random.default_rng(seed))
    for _ in range(max(draws // 4, 20)):
        chain.sweep()
    boards, backs, worth = [], [], []
    for _ in range(draws):
        chain.sweep()
        board, back = chain.state()
        boards.append(board)
        backs.append(back)
        worth.append(chain.worth())
    return Draws(np.array(boards), np.array(backs), int(np.argmax(worth)))


class _Chain:
    """The state of the chain and its moves."""

    def __init__(self, evidence: LookEvidence, start: Sequence[Sequence[Member]], rng: np.random.Generator) -> None:
        self._e, self._w, self._rng = evidence, Weights(evidence), rng
        looks = range(len(evidence.photo_of))
        photos = max(evidence.photo_of, default=-1) + 1
        self._group_of: dict[int, int] = {}
        self._groups: dict[int, frozenset[Member]] = {}
        self._things: set[int] = set()
        self._shown = [[0, 0] for _ in range(photos)]  # boards from their fronts and backs in each photo
        self._next = 0
        for members in start:
            number = self._next
            for look, is_back in members:
                self._put(look, number, is_back)
        for look in looks:
            if look not in self._group_of:
                self._things.add(self._next)
                self._put(look, self._next, is_back=False)
        self._near = [[m for m in looks if self._may_link(n, m)] for n in looks]

    def _may_link(self, n: int, m: int) -> bool:
        return n != m and max(self._w.same(n, m), self._w.opposite(n, m)) > _LEAST_LINK

    def state(self) -> tuple[list[int], list[bool]]:
        """The board of each look, numbered from 0 by their first looks, and whether it is at the back."""
        backs = {n: is_back for members in self._groups.values() for n, is_back in members}
        numbers = dict.fromkeys(self._things, NONE)
        board, boards = [], 0
        for n in range(len(self._group_of)):
            group = self._group_of[n]
            if group not in numbers:
                numbers[group] = boards
                boards += 1
            board.append(numbers[group])
        return board, [backs[n] for n in range(len(self._group_of))]

    def worth(self) -> float:
        """Logarithm of the weight of the state."""
        told = sum(self._own(number) for number in self._groups)
        return told + self._number() + sum(self._w.sides(*each) for each in self._shown)

    def sweep(self) -> None:
        """Move every look once; change boards to things and back; turn photos; join and split boards."""
        looks = self._rng.permutation(len(self._group_of)).tolist()
        for n in looks:
            self._move(n)
        for number in sorted(self._groups):
            self._name(number)
        for photo in range(len(self._shown)):
            self._turn(photo)
        for _ in range(max(len(looks) // 4, 2)):
            if self._rng.random() < 0.5:
                self._join()
            else:
                self._part()

    def _own(self, number: int) -> float:
        members = self._groups[number]
        return self._w.thing(members) if number in self._things else self._w.group(members)

    def _number(self, more: int = 0) -> float:
        boards = len(self._groups) - len(self._things) + more
        return self._w.number(boards, tuple(fronts + backs for fronts, backs in self._shown))

    def _move(self, look: int) -> None:
        photo = self._e.photo_of[look]
        self._take_out(look)
        shown = self._shown[photo]
        without = self._number() + self._w.sides(*shown)
        shown[0] += 1
        within, more = self._number(), self._number(1)
        shown[0] -= 1
        sides = [self._w.sides(shown[0] + 1, shown[1]), self._w.sides(shown[0], shown[1] + 1)]
        fresh = self._next
        ways = [(fresh, False, True), (fresh, False, False), (fresh, True, False)]
        gains = [without + self._w.thing(frozenset({(look, False)}))]
        gains += [more + sides[back] + self._w.group(frozenset({(look, back)})) for back in (False, True)]
        for number in sorted({self._group_of[m] for m in self._near[look] if m in self._group_of}):
            members = self._groups[number]
            if any(self._e.photo_of[m] == photo for m, _ in members):
                continue
            before = self._own(number)
            if number in self._things:
                ways.append((number, False, True))
                gains.append(without + self._w.thing(members | {(look, False)}) - before)
                continue
            for back in (False, True):
                ways.append((number, back, False))
                gains.append(within + sides[back] + self._w.group(members | {(look, back)}) - before)
        number, back, is_thing = ways[self._chosen(gains)]
        if is_thing:
            self._things.add(number)
        self._put(look, number, back)

    def _name(self, number: int) -> None:
        """Choose whether the looks of a group are at a board or at a thing."""
        members = self._groups[number]
        worth = []
        for is_thing in (False, True):
            self._set_thing(number, is_thing)
            own = self._own(number) + self._number()
            worth.append(own + sum(self._w.sides(*self._shown[self._e.photo_of[n]]) for n, _ in members))
        self._set_thing(number, self._chosen(worth) == 1)

    def _set_thing(self, number: int, is_thing: bool) -> None:
        if (number in self._things) == is_thing:
            return
        for look, back in self._groups[number]:
            self._shown[self._e.photo_of[look]][back] += -1 if is_thing else 1
        (self._things.add if is_thing else self._things.discard)(number)

    def _turn(self, photo: int) -> None:
        """Treat all boards of a photo as seen from the other side."""
        own = [n for n in self._group_of if self._e.photo_of[n] == photo and self._group_of[n] not in self._things]
        after = {}
        gain = self._w.sides(*reversed(self._shown[photo])) - self._w.sides(*self._shown[photo])
        for look in own:
            members = self._groups[self._group_of[look]]
            after[look] = frozenset((n, back != (n == look)) for n, back in members)
            gain += self._w.group(after[look]) - self._w.group(members)
        if math.log(self._rng.random() + 1e-300) < gain:
            for look, members in after.items():
                self._groups[self._group_of[look]] = members
            self._shown[photo].reverse()

    def _chosen(self, gains: Sequence[float]) -> int:
        top = max(gains)
        weights = [math.exp(g - top) for g in gains]
        at, total = self._rng.random() * sum(weights), 0.0
        for n, weight in enumerate(weights):
            total += weight
            if at < total:
                return n
        return len(weights) - 1

    def _take_out(self, look: int) -> None:
        number = self._group_of.pop(look)
        (own,) = (m for m in self._groups[number] if m[0] == look)
        left = self._groups[number] - {own}
        if number not in self._things:
            self._shown[self._e.photo_of[look]][own[1]] -= 1
        if left:
            self._groups[number] = left
        else:
            del self._groups[number]
            self._things.discard(number)

    def _put(self, look: int, number: int, is_back: bool) -> None:
        self._groups[number] = self._groups.get(number, frozenset()) | {(look, is_back)}
        self._group_of[look] = number
        if number not in self._things:
            self._shown[self._e.photo_of[look]][is_back] += 1
        self._next = max(self._next, number + 1)

    def _links(self, members: frozenset[Member]) -> list[frozenset[Member]]:
        """Ways to split a board in two: at each link that holds a face together, and between its faces."""
        backs = frozenset(m for m in members if m[1])
        fronts = members - backs
        ways = [backs] if backs and fronts else []
        for own in (fronts, backs):
            tree = self._w.tree(sorted(n for n, _ in own))
            sides = (_side(tree, at) for at in range(len(tree)))
            ways += [frozenset(m for m in own if m[0] in side) for side in sides]
        return ways

    def _boards(self) -> list[int]:
        return sorted(self._groups.keys() - self._things)

    def _join(self) -> None:
        numbers = self._boards()
        if len(numbers) < 2:
            return
        a, b = (numbers[int(k)] for k in self._rng.choice(len(numbers), 2, replace=False))
        one, two = self._groups[a], self._groups[b]
        if {self._e.photo_of[n] for n, _ in one} & {self._e.photo_of[n] for n, _ in two}:
            return
        both = one | two
        ways = self._links(both)
        back_again = sum(side in (one, two) for side in ways) / len(ways)
        if back_again == 0:
            return
        seen = len(numbers)
        gain = self._w.group(both) - self._w.group(one) - self._w.group(two) + self._number(-1) - self._number()
        gain += math.log(back_again / (seen - 1)) - math.log(2 / (seen * (seen - 1)))
        if math.log(self._rng.random() + 1e-300) < gain:
            self._groups[a] = both
            del self._groups[b]
            self._group_of |= {n: a for n, _ in two}

    def _part(self) -> None:
        numbers = self._boards()
        if not numbers:
            return
        number = numbers[int(self._rng.integers(len(numbers)))]
        both = self._groups[number]
        ways = self._links(both)
        if not ways:
            return
        one = ways[int(self._rng.integers(len(ways)))]
        two = both - one
        seen = len(numbers)
        same_way = sum(side in (one, two) for side in ways) / len(ways)
        gain = self._w.group(one) + self._w.group(two) - self._w.group(both) + self._number(1) - self._number()
        gain += math.log(2 / ((seen + 1) * seen)) - math.log(same_way / seen)
        if math.log(self._rng.random() + 1e-300) < gain:
            self._groups[number] = two
            self._groups[self._next] = one
            self._group_of |= {n: self._next for n, _ in one}
            self._next += 1


def _side(tree: Sequence[tuple[float, int, int]], cut: int) -> set[int]:
    """Looks beyond a link of a tree whose links lead away from its first look."""
    side = {tree[cut][2]}
    for _, i, j in tree[cut + 1 :]:
        if i in side:
            side.add(j)
    return side
