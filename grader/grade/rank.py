"""Grades from draws that all boards share.

Each input (scale of a photo, thickness of a part, gold price, one's own speed) has one draw in each case, whatever
boards it acts on. So two boards are compared case by case: what moves both alike does not blur which is better.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import UsageError
from calibration.inputs import DEFAULT_DRAWS, DEFAULT_SEED, Input, draw_all
from calibration.sourced import load_inputs
from grader.grade.model import CLASSES, Candidate, Class, Figures, Graded, GradedPart, Grades, Measure
from grader.grade.thresholds import Thresholds
from grader.lot import own_thickness
from grader.model import EMPTY, Range
from grader.valuation import Assumptions, Sale
from grader.valuation.books import spot_of
from grader.valuation.learned import recovery_once

_G_PER_MG, _G_PER_KG, _MIN_PER_H = 1e-3, 1e3, 60.0


@dataclass(frozen=True, eq=False)
class _Draws:
    """A board case by case, each float64 (n,); ``sale`` is None if no price by weight is known."""

    candidate: Candidate
    gold_mg: FloatArray
    mass_g: FloatArray
    value: FloatArray
    minutes: FloatArray
    sale: FloatArray | None
    sale_minutes: FloatArray

    @property
    def can_be_processed(self) -> bool:
        return self.candidate.why_not is None

    def rank(self, by: Measure) -> FloatArray:
        return self.value / (self.mass_g if by == "gram" else self.minutes)


def grade_boards(
    candidates: Sequence[Candidate],
    assumptions: Assumptions,
    thresholds: Thresholds,
    *,
    by: Measure = "gram",
    draws: int = DEFAULT_DRAWS,
    seed: int = DEFAULT_SEED,
) -> Grades:
    """Rank boards and parts, and sort the boards.

    Args:
        candidates: the boards, named apart.
        assumptions: with a gold price; a sale called ``whole``, or the first of whole boards, prices selling whole.
        thresholds: the user's.
        by: what ranks.
        draws: number of cases.
        seed: of the random numbers.

    Raises:
        UsageError: ``spot-missing``, ``currencies-differ``, ``boards-none``, ``thickness-mixed``, ``beliefs-mixed``.
        DataFileError: two measurements mean different things by one input.
    """
    if not candidates:
        raise UsageError("boards-none", "There are no boards to grade.", "Give photos of whole boards.")
    if thresholds.currency != assumptions.currency:
        raise UsageError(
            "currencies-differ",
            f"The thresholds are in {thresholds.currency}, the gold price is in {assumptions.currency}.",
            "Give thresholds in the same currency; amounts are not converted.",
            remedy="thresholds-currency",
        )
    boards = _apart(candidates)
    together = sum((b.gold_mg for b in boards), EMPTY)  # also tells whether all inputs agree
    assumptions = recovery_once(assumptions, together)
    spot_of(assumptions)
    inputs: dict[str, Input] = {i.name: i for i in assumptions.inputs()} | thresholds.inputs | dict(together.inputs)
    for board in boards:
        inputs |= (board.mass_g + board.whole_g).inputs
    values = draw_all(inputs, draws, seed)
    found = [_drawn(b, assumptions, thresholds, values, draws) for b in boards]
    graded = [_graded(d, thresholds) for d in found]
    order = _order(found, graded, by)
    boards_out = tuple(
        replace(
            graded[i], before_next=_better(found[i], found[j], by) if graded[i].grade == graded[j].grade else None
        )
        for i, j in pairwise([*order, order[-1]])
    )
    boards_out = (*boards_out[:-1], replace(boards_out[-1], before_next=None))
    return Grades(boards_out, _parts(found, graded, by), by, assumptions.currency, thresholds.certainty)


def _apart(candidates: Sequence[Candidate]) -> list[Candidate]:
    """The boards with what is their own: how well plating was told on each, and each part's thickness."""
    several = len({c.part for c in candidates}) > 1
    known = load_inputs("board_errors")["plating_of_board"]
    return [
        replace(
            c,
            gold_mg=(own_thickness(c.gold_mg, c.part) if several else c.gold_mg).times(
                [replace(known, of=(c.name,), title=f"{known.title}: {c.name}")]
            ),
        )
        for c in candidates
    ]


def _drawn(
    board: Candidate, a: Assumptions, thresholds: Thresholds, values: Mapping[str, FloatArray], n: int
) -> _Draws:
    gold = np.maximum(board.gold_mg.evaluate(values, n), 0.0)
    value = gold * _G_PER_MG * values[spot_of(a).input.name] * values[a.recovery.name] * values[a.payable.name]
    if a.drift is not None:
        value = value * values[a.drift.name]
    sale = _sale_of(a)
    price = None if sale is None else sale.price
    hours = values[thresholds.board_h.name] + (board.cuts or 0) * values[thresholds.cut_h.name]
    return _Draws(
        candidate=board,
        gold_mg=gold,
        mass_g=board.mass_g.evaluate(values, n),
        value=value,
        minutes=hours * _MIN_PER_H,
        sale=None if price is None else board.whole_g.evaluate(values, n) / _G_PER_KG * values[price.name],
        sale_minutes=values[thresholds.sale_h.name] * _MIN_PER_H,
    )


def _sale_of(a: Assumptions) -> Sale | None:
    """The sale of whole boards by weight."""
    whole = [s for s in a.sales if s.what == "boards"]
    return next((s for s in whole if s.name == "whole"), whole[0] if whole else None)


def _graded(d: _Draws, t: Thresholds) -> Graded:
    chance = sale_chance = 0.0
    if d.can_be_processed:
        reached = (d.value * _G_PER_KG >= t.least_per_kg * d.mass_g) & (
            d.value * _MIN_PER_H >= t.least_per_h * d.minutes
        )
        chance = float(np.mean(reached))
    if d.sale is not None:
        sale_chance = float(np.mean(d.sale * _MIN_PER_H >= t.sale_least_per_h * d.sale_minutes))
    process = d.can_be_processed and chance >= t.chance
    sell = d.sale is not None and sale_chance >= t.sale_chance
    sells_better = False
    if process and sell and d.sale is not None:
        gain = d.value - t.cost_per_kg / _G_PER_KG * d.mass_g
        sells_better = float(np.mean(d.sale > gain)) > 0.5
    grade: Class = "process" if process and not sells_better else "sell_whole" if sell else "leave"
    return Graded(
        d.candidate,
        grade,
        chance,
        sale_chance,
        _figures([d]) if d.can_be_processed else None,
        None if d.sale is None else Range.of(d.sale),
        sells_better,
    )


def _figures(boards: Sequence[_Draws]) -> Figures:
    """Of boards together."""
    value, mass, minutes = (
        np.sum([getattr(b, name) for b in boards], axis=0) for name in ("value", "mass_g", "minutes")
    )
    sales = [b.sale for b in boards if b.sale is not None]
    return Figures(
        gold_mg=Range.of(np.sum([b.gold_mg for b in boards], axis=0)),
        mass_g=Range.of(mass),
        value=Range.of(value),
        per_gram=Range.of(value / mass),
        per_minute=Range.of(value / minutes),
        sale=Range.of(np.sum(sales, axis=0)) if len(sales) == len(boards) else None,
    )


def _order(found: Sequence[_Draws], graded: Sequence[Graded], by: Measure) -> list[int]:
    """By grade, then from the best median on; boards that cannot be processed come last."""

    def place(i: int) -> tuple[int, float, str]:
        middle = float(np.median(found[i].rank(by))) if found[i].can_be_processed else -1.0
        return CLASSES.index(graded[i].grade), -middle, found[i].candidate.name

    return sorted(range(len(found)), key=place)


def _better(one: _Draws, other: _Draws, by: Measure) -> float | None:
    if not (one.can_be_processed and other.can_be_processed):
        return None
    return _chance(one.rank(by), other.rank(by))


def _chance(one: FloatArray, other: FloatArray) -> float:
    """Chance that the one is larger, from paired draws; equal ones count half."""
    return float(np.mean(one > other) + np.mean(one == other) / 2)


def _parts(found: Sequence[_Draws], graded: Sequence[Graded], by: Measure) -> tuple[GradedPart, ...]:
    """The parts, each as the sum of its boards that can be processed, from the best on."""
    ranked: list[tuple[GradedPart, FloatArray | None]] = []
    for name in dict.fromkeys(d.candidate.part for d in found):
        own = [i for i, d in enumerate(found) if d.candidate.part == name]
        able = [found[i] for i in own if found[i].can_be_processed]
        counts = {c: sum(graded[i].grade == c for i in own) for c in CLASSES}
        rank = (
            np.sum([b.value for b in able], axis=0)
            / np.sum([b.mass_g if by == "gram" else b.minutes for b in able], axis=0)
            if able
            else None
        )
        ranked.append((GradedPart(name, counts, _figures(able) if able else None), rank))
    ranked.sort(key=lambda part: -float(np.median(part[1])) if part[1] is not None else 1.0)
    following = [*ranked[1:], (None, None)]
    return tuple(
        replace(part, before_next=_chance(rank, other) if rank is not None and other is not None else None)
        for (part, rank), (_, other) in zip(ranked, following, strict=True)
    )
