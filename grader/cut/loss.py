"""Which gold to give up, where some may be lost.

Gold that may be lost enters by a price for each milligram: for any price, least(cost + price × lost) less price ×
allowed is a lower bound on the cost of any plan that keeps the limit (Lagrangian relaxation). The price with the
highest bound is found from the plans that it gives, in finitely many steps. What gap stays is closed by deciding
island by island which must be kept and which may be given up (branch and bound), as far as a number of tries goes.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.arrays import FloatArray
from grader.cut.grid import BoardGrid
from grader.cut.guillotine import Asked, Rectangles, Search, Treated

_ROUNDING = 1e-9
_MOST_PRICES = 20
_LEAST_TRIES, _MOST_TRIES = 4, 24
_TRIED = 4 * 10**6  # rectangles of all tries together
_AT_ONCE, _HELD_AT_ONCE = 8, 10**6  # choices, and rectangles of all of them, that are worked out together
_NEAR = 0.99  # of the best plan's cost: a bound so near is near enough
_MORE_TRIES, _SMALL = 120, 12**4  # on boards with so few rectangles, which take little time, none is


@dataclass(frozen=True)
class Within:
    """What is known of plans that keep to the gold that may be lost.

    Attributes:
        bound: on the cost of any; infinite where there is none.
        plans: those found.
        price: of lost gold, with which the bound was found.
    """

    bound: float
    plans: tuple[Treated, ...]
    price: float = 0.0


def least_within(
    search: Search, grid: BoardGrid, boxes: FloatArray, allowed_mg: float, enough: float = math.inf
) -> Within:
    """The cheapest treatment that loses no more gold than may be lost.

    Args:
        search: over the rectangles of the board.
        grid: the board.
        boxes: islands (k, 4) that no cut parts, mm.
        allowed_mg: gold that may be lost.
        enough: the bound need not be higher.
    """
    if allowed_mg <= 0:
        found = search.best(math.inf)
        return Within(math.inf, ()) if found is None else Within(found.cost, (found,))
    return _Choice(search, grid, boxes, allowed_mg).within(enough)


@dataclass(frozen=True)
class _Decided:
    """What each island's gold is: kept in any case, given up and taken off what is allowed, or open."""

    kept: frozenset[int]
    given_up: frozenset[int]


@dataclass(frozen=True, eq=False)
class _Node:
    """A choice, and what follows from it.

    Attributes:
        decided: the choice.
        rest: islands that are still open.
        left: gold that may be lost besides what was given up, mg.
        free: no more than that can be lost, so that it needs no price.
        gold: that has a price, in each rectangle.
        barred: rectangles that hold gold to be kept.
    """

    decided: _Decided
    rest: frozenset[int]
    left: float
    free: bool
    gold: Rectangles
    barred: Rectangles


@dataclass(eq=False)
class _Choice:
    search: Search
    grid: BoardGrid
    boxes: FloatArray
    allowed: float
    tries: int = field(default=0, init=False)

    def __post_init__(self) -> None:
        spans = np.round(self.boxes / self.grid.step_mm).astype(int).tolist()
        self.cells = [(slice(u0, u1), slice(v0, v1)) for u0, u1, v0, v1 in spans]
        self.gold = [float(self.grid.gold_mg[cells].sum()) for cells in self.cells]
        self.outside = self.grid.gold_mg.copy()  # of islands: some of it may always be lost, at its price
        for cells in self.cells:
            self.outside[cells] = 0.0

    def within(self, enough: float) -> Within:
        """Best first: the open choices whose bounds are least are decided for one island more."""
        small = self.search.many < _SMALL
        fewer = max(_LEAST_TRIES, min(_MOST_TRIES, _TRIED // self.search.many))
        most, near = (_MORE_TRIES, 1.0) if small else (fewer, _NEAR)
        at_once = min(_AT_ONCE, max(2, _HELD_AT_ONCE // self.search.many))
        root = self._node(_Decided(frozenset(), frozenset()))
        found = self._root(root)
        plans, price = list(found.plans), found.price
        number = itertools.count()
        open_ = [(found.bound, next(number), root)]
        while True:
            best = min((enough, *(p.cost for p in plans)))
            bound, _, node = open_[0]
            if not node.rest or bound >= near * best - _ROUNDING * max(1.0, best) or self.tries >= most:
                return Within(min(bound, best), tuple(plans), price)
            children: list[tuple[float, _Node]] = []
            while open_ and open_[0][2].rest and len(children) < at_once and open_[0][0] < near * best:
                bound, _, node = heapq.heappop(open_)
                one = max(node.rest, key=lambda i: self.gold[i])
                kept, given_up = node.decided.kept, node.decided.given_up
                children += [
                    (bound, self._node(_Decided(kept | {one}, given_up))),
                    (bound, self._node(_Decided(kept, given_up | {one}))),
                ]
            for (parent, child), treated in zip(children, self._best([c for _, c in children], price), strict=True):
                if treated is None:
                    heapq.heappush(open_, (math.inf, next(number), child))
                    continue
                if treated.priced <= child.left:
                    plans.append(treated)
                value = treated.cost if child.free else treated.value - price * child.left
                heapq.heappush(open_, (max(value, parent), next(number), child))

    def _node(self, decided: _Decided) -> _Node:
        left = self.allowed - sum(self.gold[i] for i in decided.given_up)
        undecided = set(range(len(self.gold))) - decided.kept - decided.given_up
        rest = {i for i in undecided if self.gold[i] <= left}
        kept, priced = np.zeros_like(self.outside), self.outside.copy()
        for i, cells in enumerate(self.cells):
            if i in rest:
                priced[cells] = self.grid.gold_mg[cells]
            elif i not in decided.given_up:
                kept[cells] = 1.0
        barred = [np.where(held > _ROUNDING, math.inf, 0.0) for held in self.search.held(kept)]
        free = float(priced.sum()) <= left
        return _Node(decided, frozenset() if free else frozenset(rest), left, free, self.search.held(priced), barred)

    def _best(self, nodes: Sequence[_Node], price: float) -> list[Treated | None]:
        self.tries += len(nodes)
        return self.search.best_of([Asked(0.0 if n.free else price, n.gold, n.barred) for n in nodes])

    def _root(self, node: _Node) -> Within:
        """Vary the price of lost gold until no other gives a higher bound."""
        none_lost, free = self.search.best_of([Asked(price, node.gold, node.barred) for price in (math.inf, 0.0)])
        dear = none_lost or self._best([node], self.search.dearest / self.allowed)[0]
        if free is None or dear is None:
            return Within(math.inf, (), 0.0)
        if free.priced <= self.allowed:
            return Within(free.cost, (free,), 0.0)
        if dear.priced > self.allowed:
            return Within(dear.value - self.search.dearest, (), 0.0)
        bound, plans, at = free.cost, [dear], 0.0
        for _ in range(_MOST_PRICES):
            if dear.cost <= free.cost or free.priced <= dear.priced:
                break
            price = (dear.cost - free.cost) / (free.priced - dear.priced)
            found = self._best([node], price)[0]
            if found is None:
                break
            if found.value - price * self.allowed > bound:
                bound, at = found.value - price * self.allowed, price
            if found.value >= dear.cost + price * dear.priced - _ROUNDING * max(1.0, dear.cost):
                break  # no plan lies below the line through the two: no other price gives a higher bound
            if found.priced <= self.allowed:
                dear = found
                plans.append(found)
            else:
                free = found
        return Within(bound, tuple(plans), at)
