"""Guillotine cuts in two axes: each goes through a whole piece.

Dynamic programming over all rectangles between given lines, after Gilmore and Gomory (1965), "Multistage cutting
stock problems of two and more dimensions".
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import BoolArray, FloatArray
from grader.cut.grid import BoardGrid, Sums
from grader.cut.plan import Axis, Cut, Piece
from grader.cut.rules import CutRules
from grader.cut.sides import Room, Sides, permitted

_Sides = tuple[int, int, int, int]
# by the number i of sides that rectangles span on the first axis: entry i is (n - i, m, m), for those from side a to
# side a + i, from side c to side d
Rectangles = list[FloatArray]

_ROUNDING = 1e-9


@dataclass(frozen=True)
class Treated:
    """The best treatment of the whole board.

    Attributes:
        value: its cost, and what the gold that is lost was priced at.
        cost: of processing what is kept, and of the cuts.
        lost: gold thrown or sawn to dust, mg.
        priced: as much of it as had a price.
        cuts: in order.
        pieces: all of them.
    """

    value: float
    cost: float
    lost: float
    priced: float
    cuts: tuple[Cut, ...] = ()
    pieces: tuple[Piece, ...] = ()


@dataclass(frozen=True, eq=False)
class Asked:
    """How gold that is lost is priced.

    Attributes:
        price: for each milligram; infinite where none may be lost.
        gold: what of it has that price, in each rectangle.
        barred: infinite for the rectangles that may not be thrown at any price, otherwise 0; None for none.
    """

    price: float
    gold: Rectangles
    barred: Rectangles | None

    def throw(self, i: int) -> FloatArray:
        """What throwing the rectangles that span i sides counts as."""
        paid = _paid(self.gold[i], self.price)
        return paid if self.barred is None else paid + self.barred[i]


class Search:
    """The rectangles between given lines, with what each holds."""

    def __init__(
        self, grid: BoardGrid, rules: CutRules, sides: tuple[Sides, Sides], boxes: FloatArray, *, loose: bool = False
    ) -> None:
        """Tell what each rectangle holds, whether it fits, and which cuts are permitted.

        Args:
            grid: the board.
            rules: to keep.
            sides: of both axes.
            boxes: islands (k, 4) that cuts keep clear of, mm.
            loose: a cut may in truth lie anywhere between its line and the next to which the way is free: pieces then
                fit, and can be held, if they might.
        """
        self._rules, self._sides, self._step_mm = rules, sides, grid.step_mm
        one, two = sides
        turned = boxes[:, [2, 3, 0, 1]]
        reach = rules.reach_mm
        if loose:
            along, across = Room.between(one, two, boxes, reach), Room.between(two, one, turned, reach)
        else:
            along, across = Room.none(one, two), Room.none(two, one)
        c, d = np.indices((two.many, two.many)).reshape(2, -1)
        shape = (-1, two.many, two.many)
        shortest, longest = across.shortest(c, d), across.longest(c, d)
        own_edges = ((c == 0) & (d == two.many - 1)).reshape(shape[1:])
        self._gold, mass = self.held(grid.gold_mg), self.held(grid.mass_g)
        self._keep: Rectangles = []
        self._none: Rectangles = []  # infinite for what is no piece
        for i in range(one.many):
            a, b = np.arange(one.many - i), np.arange(i, one.many)
            fits = rules.fit.takes(along.shortest(a, b), shortest[:, a, b].T.reshape(shape))
            self._keep.append(np.where(fits, rules.cost_per_g * mass[i], math.inf))
            held = _can_be_held(along.longest(a, b), rules.least_piece_mm) | (i == one.many - 1)
            held &= _can_be_held(longest[:, a, b].T.reshape(shape), rules.least_piece_mm) | own_edges
            self._none.append(np.where(held & (c < d).reshape(shape[1:]), 0.0, math.inf))
        self._way = tuple(
            np.where(permitted(lines.at, other, own, reach), 0.0, math.inf)
            for lines, other, own in ((one, two, boxes), (two, one, turned))
        )
        gold = self._table(grid.gold_mg)
        self._dust = (_dust(gold, one.many, two.many), _dust(gold.T, two.many, one.many))
        self.many = one.many**2 * two.many**2
        self.dearest = rules.cost_per_g * float(grid.mass_g.sum()) + rules.cost_per_cut * (one.many + two.many) ** 2

    def held(self, cells: FloatArray) -> Rectangles:
        """What each rectangle holds of something that is in the board's cells (n, m)."""
        table, n, m = self._table(cells), self._sides[0].many, self._sides[1].many
        a = np.arange(n)
        return [_held(table, a[: n - i], a[i:], n, m) for i in range(n)]

    def _table(self, cells: FloatArray) -> FloatArray:
        return Sums(cells, self._step_mm).at(*(np.r_[s.begin, s.end] for s in self._sides))

    def best(self, price: float) -> Treated | None:
        """The best treatment of the whole board at a price for each milligram lost; infinite: none is lost."""
        return self.best_of([Asked(price, self._gold, None)])[0]

    def best_of(self, asked: Sequence[Asked]) -> list[Treated | None]:
        """The best treatment of the whole board by each way to price its gold, all worked out at once.

        None if no permitted treatment exists.
        """
        n, m = self._sides[0].many, self._sides[1].many
        throw = [np.stack([one.throw(i) for one in asked]) for i in range(n)]
        cut = [
            np.stack([self._rules.cost_per_cut + way + _paid(dust, one.price) for one in asked])
            for way, dust in zip(self._way, self._dust, strict=True)
        ]
        values: Rectangles = [np.zeros((len(asked), n, m, m))]
        for i in range(1, n):
            least = np.minimum(throw[i], self._keep[i])
            for k in range(1, i):
                parts = values[k][:, : n - i] + values[i - k][:, k:]
                parts += cut[0][:, k : k + n - i]
                np.minimum(least, parts, out=least)
            least += self._none[i]
            self._close(least, cut[1][:, :, np.arange(n - i), np.arange(i, n)], self._none[i])
            values.append(least)
        return [
            None
            if math.isinf(values[n - 1][j, 0, 0, m - 1])
            else self._followed(
                [own[j] for own in values], [own[j] for own in cut], [own[j] for own in throw], one.gold
            )
            for j, one in enumerate(asked)
        ]

    def _close(self, least: FloatArray, cut: FloatArray, none: FloatArray) -> None:
        """Allow cuts across the second axis; the parts are among the same rectangles (j, k, m, m)."""
        m = least.shape[2]
        # where a cut might save something
        dear = ((least > self._rules.cost_per_cut) & (none == 0)).any(axis=(0, 1))
        for c in range(m - 3, -1, -1):  # from c to d: those from later beginnings, and to earlier ends, are known
            own, own_cut = least[:, :, c], cut[:, c:]
            for d in np.flatnonzero(dear[c, c + 2 :]) + c + 2:
                parts = own[:, :, c + 1 : d] + least[:, :, c + 1 : d, d]
                parts += own_cut[:, 1 : d - c].transpose(0, 2, 1)
                own[:, :, d] = np.minimum(own[:, :, d], parts.min(axis=2)) + none[:, c, d]

    def _followed(self, values: Rectangles, cut: list[FloatArray], throw: Rectangles, gold: Rectangles) -> Treated:
        """The plan of the whole board, read off the values of its rectangles."""
        n, m = self._sides[0].many, self._sides[1].many
        cuts: list[Cut] = []
        pieces: list[Piece] = []
        cost = lost = priced = 0.0
        open_: list[_Sides] = [(0, n - 1, 0, m - 1)]
        while open_:
            a, b, c, d = open_.pop()
            value = values[b - a][a, c, d]
            near = value + _ROUNDING * max(1.0, value)
            keep = float(self._keep[b - a][a, c, d])
            if throw[b - a][a, c, d] <= near:
                lost += float(self._gold[b - a][a, c, d])
                priced += float(gold[b - a][a, c, d])
                pieces.append(self._piece(a, b, c, d, kept=False))
                continue
            if keep <= near:
                cost += keep
                pieces.append(self._piece(a, b, c, d, kept=True))
                continue
            ways: list[tuple[Axis, int, float]] = [
                (0, k, float(values[k - a][a, c, d] + values[b - k][k, c, d] + cut[0][k, c, d]))
                for k in range(a + 1, b)
            ]
            ways += [
                (1, k, float(values[b - a][a, c, k] + values[b - a][a, k, d] + cut[1][k, a, b]))
                for k in range(c + 1, d)
            ]
            # of equals the first, so that parallel cuts follow each other
            axis, k, _ = next(way for way in ways if way[2] <= near + _ROUNDING)
            cost += self._rules.cost_per_cut
            dust = float(self._dust[0][k, c, d] if axis == 0 else self._dust[1][k, a, b])
            lost, priced = lost + dust, priced + dust
            cuts.append(self._cut(axis, k, (c, d) if axis == 0 else (a, b)))
            first, second = ((a, k, c, d), (k, b, c, d)) if axis == 0 else ((a, b, c, k), (a, b, k, d))
            open_ += [second, first]
        return Treated(float(values[n - 1][0, 0, m - 1]), cost, lost, priced, tuple(cuts), tuple(pieces))

    def _piece(self, a: int, b: int, c: int, d: int, *, kept: bool) -> Piece:
        one, two = self._sides
        return Piece(float(one.begin[a]), float(one.end[b]), float(two.begin[c]), float(two.end[d]), kept)

    def _cut(self, axis: Axis, k: int, span: tuple[int, int]) -> Cut:
        along, across = self._sides[axis], self._sides[1 - axis]
        return Cut(axis, float(along.at[k]), float(across.begin[span[0]]), float(across.end[span[1]]))


def _held(table: FloatArray, a: NDArray[np.intp], b: NDArray[np.intp], n: int, m: int) -> FloatArray:
    """What lies between sides a and b of the first axis (k,) and all pairs of the second: (k, m, m)."""
    along = table[n + b] - table[a]
    return np.asarray(np.maximum(along[:, None, m:] - along[:, :m, None], 0.0))


def _can_be_held(length_mm: FloatArray, least_mm: float) -> BoolArray:
    return np.asarray(length_mm >= least_mm - _ROUNDING)


def _dust(gold: FloatArray, n: int, m: int) -> FloatArray:
    """Gold that a cut at each side makes into dust, for each span of the other axis (n, m, m)."""
    along = np.maximum(gold[:n] - gold[n:], 0.0)
    return np.asarray(np.maximum(along[:, None, m:] - along[:, :m, None], 0.0))


def _paid(lost: FloatArray, price: float) -> FloatArray:
    """What lost gold counts as."""
    return np.asarray(np.where(lost <= _ROUNDING, 0.0, math.inf) if math.isinf(price) else lost * price)
