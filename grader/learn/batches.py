"""From the log's yields to the batches that the belief learns from."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief import Batch, WeighedPlating
from calibration.errors import GraderError
from calibration.thickness import Finish, gold_properties, thickness_prior
from grader.gold import MG_PER_MM2_UM_G_CM3
from grader.learn.lots import area_models, estimates_of
from grader.learn.said import kind_said, seller_chose
from grader.learn.weighings import Weighing, weighings
from grader.log import Contents, Estimate, LoggedLot
from grader.lot.observed import Observed, observed_in
from grader.lot.whole import whole_of
from grader.model import EMPTY, ProductModel

_DRAWS = 2_000  # for a median and a spread


def same_name(typed: str) -> str:
    """Normalise the name of a part or seller: ignore case and collapse white space."""
    return " ".join(typed.casefold().split())


@dataclass(frozen=True)
class Batches:
    """The data to learn from.

    Attributes:
        batches: each named by its yield's number.
        left_out: why other yields are excluded, by number.
        process: number of the newest process.
        seen: gold on the photographed boards of the lots that were learned from, lot by lot, by name of the boards.
    """

    batches: tuple[Batch, ...]
    left_out: Mapping[int, str]
    process: int
    seen: Mapping[str, tuple[tuple[Observed, ...], ...]] = field(default_factory=dict)


def batches_of(contents: Contents) -> Batches:
    """Batches of all current yields that are not excluded, were weighed after the last reset, and were measured."""
    excluded = contents.excluded()
    resets = [m for m in contents.marks if m.kind == "reset"]
    changes = [m.day for m in contents.marks if m.kind == "process"]
    batches: list[Batch] = []
    left_out: dict[int, str] = {}
    lots: dict[int, LoggedLot] = {}
    for weighing in weighings(contents):
        gold = weighing.gold
        out = next((y for y in weighing.yields if y.id in excluded), None)
        for other in weighing.yields:
            if other is not gold:
                left_out[other.id] = f"counted together with yield {gold.id}"
        if out is not None:
            left_out[gold.id] = f"excluded: {excluded[out.id].reason}"
        elif any(y.weighed_on <= m.day and y.logged_at <= m.logged_at for m in resets for y in weighing.yields):
            left_out[gold.id] = "before the belief was reset"
        elif weighing.why_not:
            left_out[gold.id] = weighing.why_not
        else:
            try:
                platings, area_sd = _platings(contents, weighing)
            except GraderError as error:
                left_out[gold.id] = error.message
                continue
            if not platings:
                left_out[gold.id] = "no photo of its lots was measured"
                continue
            fine = weighing.fine
            lots |= {share.lot.id: share.lot for share, _ in weighing.shares}
            batches.append(
                Batch(
                    name=str(gold.id),
                    platings=platings,
                    mass_mg=fine.fine_mg,
                    uncertainty_mg=fine.uncertainty_mg,
                    relative_sd=math.hypot(area_sd, fine.relative_sd),
                    process=sum(day <= gold.weighed_on for day in changes),
                )
            )
    return Batches(
        tuple(batches),
        left_out,
        len(changes),
        _seen(contents, lots.values()),
    )


def _seen(contents: Contents, lots: Iterable[LoggedLot]) -> dict[str, tuple[tuple[Observed, ...], ...]]:
    """Gold on the photographed boards of some lots, by name of the boards; those without a name tell of no others."""
    found: dict[str, list[tuple[Observed, ...]]] = {}
    for lot in lots:
        boards = _observed(estimates_of(contents, lot))
        if lot.part and sum(o.gold for o in boards) > 0:
            found.setdefault(same_name(lot.part), []).append(boards)
    return {name: tuple(of_lots) for name, of_lots in found.items()}


def _observed(estimates: Iterable[Estimate]) -> tuple[Observed, ...]:
    return tuple(o for e in estimates for o in observed_in(e.measured, max(1, len(e.measured.boards))))


def _platings(contents: Contents, weighing: Weighing) -> tuple[tuple[WeighedPlating, ...], float]:
    """Plating that went in, and the relative standard deviation of all that scales it."""
    properties = gold_properties()
    platings: list[WeighedPlating] = []
    whole, unseen = EMPTY, 0.0
    for share, _ in weighing.shares:
        estimates = estimates_of(contents, share.lot)
        own = EMPTY
        rest, rest_sd = _with_unseen(estimates, share.copies)
        kind, chosen = kind_said(contents, share.lot, estimates), seller_chose(contents, share.lot)
        for finish, area in area_models(estimates, share.copies).items():
            per_um = area.times(properties[finish].inputs()[1:], MG_PER_MM2_UM_G_CM3)
            middle = float(np.median(_draws(per_um)))
            if middle > 0:
                names = same_name(share.lot.part), same_name(share.lot.seller), kind
                # boards that were shown, and the others, which the seller may have left out for a reason
                shown = min(1 / (share.copies * rest), 1.0) if chosen and share.copies > 1 else 1.0
                platings.append(WeighedPlating(finish, middle * rest * shown, *names))
                if shown < 1:
                    platings.append(WeighedPlating(finish, middle * rest * (1 - shown), *names, picked=True))
                own += per_um.times((), _typical_um(finish) * rest)
        whole += own
        unseen = math.hypot(unseen, float(np.mean(_draws(own))) * rest_sd)
    if not platings:
        return (), 0.0
    draws = _draws(whole)
    return tuple(platings), math.hypot(float(np.std(draws)), unseen) / float(np.mean(draws))


def _with_unseen(estimates: Sequence[Estimate], copies: float) -> tuple[float, float]:
    """What boards that went in without having been photographed make of the gold: its factor, and its relative sd."""
    if copies <= 1 or not estimates:
        return 1.0, 0.0
    seen = _observed(estimates)
    return whole_of(seen, sum(o.boards for o in seen) * copies) if sum(o.gold for o in seen) > 0 else (1.0, 0.0)


def _draws(model: ProductModel) -> FloatArray:
    # A normal range about a small area reaches below zero; gold does not.
    return np.maximum(model.draws(_DRAWS), 0.0)


def _typical_um(finish: Finish) -> float:
    """Weighs finishes against each other where only the whole batch's spread is wanted."""
    return float(np.median(thickness_prior(finish).draws(_DRAWS)))
