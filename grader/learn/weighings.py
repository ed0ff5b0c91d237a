"""Yields as they can be compared with what went in: alone, or the batches together between which boards went over.

Boards that come out of a batch with gold left on go into a later one. Where the gold left was judged, it is added to
the first batch and taken off the later one. Where it was not, neither batch tells by itself what its boards held, but
the two together do: they are taken as one, of all boards that went into either. Either way that gold counts once.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from calibration.sourced import load_figures
from grader.learn.lots import Share, shares_of
from grader.log import CarryOver, Contents, Yield

_LEAST_UNCERTAINTY_MG = 0.01  # of the best balances in use; a stated zero is none


@dataclass(frozen=True)
class Weighed:
    """Fine gold of a yield.

    Attributes:
        fine_mg: mass × fineness, without what came from elsewhere, with what is known to be lost.
        uncertainty_mg: of the balance and of gold left on boards carried over, standard.
        relative_sd: of the fineness.
        fineness: taken.
    """

    fine_mg: float
    uncertainty_mg: float
    relative_sd: float
    fineness: float


def weighed_gold(gold: Yield) -> Weighed:
    """Fine gold of a yield, with the figures taken for what was not stated."""
    figures = load_figures("belief")
    if gold.fineness is None:
        fineness, sd = figures["fineness_unknown"].value, figures["fineness_unknown_sd"].value
    else:
        fineness, sd = gold.fineness, figures[f"fineness_{gold.fineness_known}_sd"].value
    stated = gold.uncertainty_mg
    balance = figures["balance_uncertainty"].value if stated is None else max(stated, _LEAST_UNCERTAINTY_MG)
    fine = gold.mass_mg * fineness - gold.carried_in_mg + gold.lost_mg
    return Weighed(fine, balance * fineness, sd, fineness)


@dataclass(frozen=True)
class Weighing:
    """Gold that was weighed, and all boards that it came from.

    Attributes:
        gold: the yield, or the last of several; names the weighing.
        yields: all of them.
        shares: lots that went in, each with the yield that it was weighed with first.
        fine: gold that came from these boards.
        returned_mg: of that what has been weighed by now: gold still on boards that wait is not in it.
        carried_lots: lots whose boards were carried in, where no others went in.
        why_not: why it does not tell what its boards held; empty if it does.
    """

    gold: Yield
    yields: tuple[Yield, ...]
    shares: tuple[tuple[Share, Yield], ...]
    fine: Weighed
    returned_mg: float
    carried_lots: tuple[int, ...] = ()
    why_not: str = ""


def weighings(contents: Contents) -> tuple[Weighing, ...]:
    """All current yields, in the order of their last entry."""
    found: list[Weighing] = []
    of_batch: dict[int, list[Yield]] = {}
    for gold in contents.current_yields():
        batch = contents.batch_of(gold)
        if batch is not None:
            of_batch.setdefault(batch, []).append(gold)
        else:
            fine = weighed_gold(gold)
            shares = tuple((share, gold) for share in shares_of(contents, gold))
            found.append(Weighing(gold, (gold,), shares, fine, fine.fine_mg))
    found.extend(
        _of_batches(contents, group, {b: of_batch[b] for b in sorted(group) if b in of_batch})
        for group in _groups(contents, of_batch)
    )
    return tuple(sorted(found, key=lambda w: w.gold.id))


def _groups(contents: Contents, with_yield: Iterable[int]) -> list[frozenset[int]]:
    """Batches that only tell something together; those without any yield are left out."""
    group = {b.id: frozenset({b.id}) for b in contents.batches.batches}
    for carry in contents.batches.current_carry_overs():
        into = contents.batches.carried_into(carry.id)
        if carry.left_mg is None and into is not None:
            joined = group[carry.batch_id] | group[into]
            group |= dict.fromkeys(joined, joined)
    return list(dict.fromkeys(group[b] for b in with_yield))


def _of_batches(contents: Contents, group: frozenset[int], its: dict[int, list[Yield]]) -> Weighing:
    records = contents.batches
    lots = {lot.id: lot for lot in contents.lots}
    yields = [gold for golds in its.values() for gold in golds]
    shares = tuple(
        (Share(lots[lot_id], copies), min(golds, key=lambda y: y.id))
        for batch, golds in its.items()
        for lot_id, copies in records.lots_in(batch).items()
    )
    out = [c for c in records.current_carry_overs() if c.batch_id in group]
    into = {c.id: records.carried_into(c.id) for c in records.current_carry_overs()}
    carried_in = [c for c in records.current_carry_overs() if into[c.id] in group]
    crossing_out = [c for c in out if into[c.id] not in group]
    crossing_in = [c for c in carried_in if c.batch_id not in group]
    all_weighed = [weighed_gold(y) for y in yields]
    raw = sum(w.fine_mg for w in all_weighed)
    left_out, left_in = _left(crossing_out), _left(crossing_in)
    fine = Weighed(
        raw + left_out - left_in,
        math.hypot(
            *(w.uncertainty_mg for w in all_weighed),
            *(c.left_uncertainty_mg or 0.0 for c in (*crossing_out, *crossing_in)),
        ),
        _relative_sd(all_weighed),
        all_weighed[-1].fineness,
    )
    weighed_later = {y.batch_id for y in records.yields}
    gone = _left([c for c in crossing_out if into[c.id] in weighed_later])
    last = max(yields, key=lambda y: y.id)
    return Weighing(
        last,
        tuple(yields),
        shares,
        fine,
        raw + gone - left_in,
        () if shares else tuple(dict.fromkeys(c.lot_id for c in carried_in)),
        _why_not(contents, group, its, crossing_out, has_boards=bool(shares)),
    )


def _relative_sd(some: Sequence[Weighed]) -> float:
    """Of a sum whose parts have fineness that errs each for itself."""
    whole = sum(w.fine_mg for w in some)
    return math.hypot(*(w.relative_sd * w.fine_mg for w in some)) / whole if whole > 0 else some[-1].relative_sd


def _left(some: Iterable[CarryOver]) -> float:
    return sum(c.left_mg or 0.0 for c in some)


def _why_not(
    contents: Contents,
    group: frozenset[int],
    its: dict[int, list[Yield]],
    crossing_out: Iterable[CarryOver],
    *,
    has_boards: bool,
) -> str:
    names = {b.id: b.name for b in contents.batches.batches}
    missing = sorted(group - set(its))
    if missing:
        return f"boards went over between batches, and {names[missing[0]]} has no yield yet"
    waiting = [c for c in crossing_out if c.left_mg is None]
    if waiting:
        return f"boards of carry-over {waiting[0].id} with gold left on wait for a later batch"
    return "" if has_boards else "only boards carried over, whose gold left was judged, went in"
