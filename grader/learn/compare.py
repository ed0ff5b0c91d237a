"""Compare each yield with the estimate made before it, and score the estimates."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from math import exp, log, sqrt

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import GraderError
from calibration.scores import HitRate as Coverage
from calibration.scores import crps, share
from calibration.thickness import THICKNESS
from grader.learn.lots import estimates_of, gold_model
from grader.learn.weighings import Weighing, weighings
from grader.log import Contents
from grader.model import EMPTY, ProductModel, Range

LEVELS = (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9)
NO_NAME = "not named"
_DRAWS = 10_000


@dataclass(frozen=True)
class YieldBesideEstimate:
    """A yield and the estimate made before it was weighed.

    Attributes:
        yield_id: number of the yield.
        lots: names of its lots.
        parts: their kinds of boards.
        sellers: of the lots.
        finishes: finishes estimated, the one with most gold first.
        day: of the weighing.
        fine_mg: fine gold weighed.
        estimate_mg: range in which the estimate had it, the uncertainty of the weighing included; None if there
            was no estimate at the time.
        place: share of the estimate's draws below what was weighed, 0..1; None likewise.
        score_mg: CRPS; None likewise.
        learned: the estimate was made with a belief, not with the published priors.
        why_not: why it is not counted; empty if it is.
    """

    yield_id: int
    lots: tuple[str, ...]
    parts: tuple[str, ...]
    sellers: tuple[str, ...]
    finishes: tuple[str, ...]
    day: date
    fine_mg: float
    estimate_mg: Range | None = None
    place: float | None = None
    score_mg: float | None = None
    learned: bool = False
    why_not: str = ""

    @property
    def counts(self) -> bool:
        """Whether it counts for the score of the estimates."""
        return not self.why_not

    @property
    def inside(self) -> bool | None:
        """Whether what was weighed lies in the 90 % range; None without an estimate."""
        return None if self.estimate_mg is None else self.estimate_mg.low <= self.fine_mg <= self.estimate_mg.high

    @property
    def error(self) -> float | None:
        """Weighed ÷ estimated - 1; None without an estimate."""
        return (
            None
            if self.estimate_mg is None or self.estimate_mg.value <= 0
            else self.fine_mg / self.estimate_mg.value - 1
        )


def pairs(contents: Contents) -> tuple[YieldBesideEstimate, ...]:
    """All current yields in the order of their weighing; those that only tell something together are one."""
    excluded = contents.excluded()
    found = []
    for weighing in sorted(weighings(contents), key=lambda w: (w.gold.weighed_on, w.gold.id)):
        out = next((y for y in weighing.yields if y.id in excluded), None)
        why = weighing.why_not if out is None else f"excluded: {excluded[out.id].reason}"
        found.append(_pair(contents, weighing, why))
    return tuple(found)


def _pair(contents: Contents, weighing: Weighing, why_not: str) -> YieldBesideEstimate:
    gold, fine = weighing.gold, weighing.fine
    shares = [share for share, _ in weighing.shares]

    def names(of: Iterable[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(of))

    bare = YieldBesideEstimate(
        gold.id,
        names(s.lot.name for s in shares),
        names(s.lot.part or NO_NAME for s in shares),
        names(s.lot.seller or NO_NAME for s in shares),
        (),
        gold.weighed_on,
        fine.fine_mg,
        why_not=why_not or "no estimate was made before it was weighed",
    )
    whole = EMPTY
    try:
        for s, first in weighing.shares:
            estimates = estimates_of(contents, s.lot, first)
            if not estimates:
                return bare
            whole += gold_model(estimates, s.copies)
    except GraderError as error:
        return YieldBesideEstimate(**{**bare.__dict__, "why_not": why_not or error.message})
    if not whole.terms:
        return bare
    shown = _shown(whole, weighing)
    return YieldBesideEstimate(
        **{
            **bare.__dict__,
            "finishes": _finishes(whole),
            "estimate_mg": Range.of(shown),
            "place": float((shown < fine.fine_mg).mean()),
            "score_mg": crps(shown, fine.fine_mg),
            "learned": any(i.is_recovered for i in whole.inputs.values()),
            "why_not": why_not,
        }
    )


def _shown(model: ProductModel, weighing: Weighing) -> FloatArray:
    """Draws of the fine gold that the balance would show, mg."""
    fine = weighing.fine
    seed = hashlib.sha256(f"weighing {weighing.gold.id}".encode()).digest()
    rng = np.random.default_rng(int.from_bytes(seed[:8], "big"))
    present = np.maximum(model.draws(_DRAWS), 0.0)
    return np.asarray(
        present * np.exp(fine.relative_sd * rng.standard_normal(_DRAWS))
        + fine.uncertainty_mg * rng.standard_normal(_DRAWS)
    )


def _finishes(model: ProductModel) -> tuple[str, ...]:
    """Finishes by their share of the gold, the largest first."""
    values = {name: np.median(i.draws(1000), keepdims=True) for name, i in model.inputs.items()}
    gold: dict[str, float] = {}
    for term in model.terms:
        for factor in term.factors:
            if model.inputs[factor].kind == THICKNESS:
                finish = model.inputs[factor].of[0]
                amount = ProductModel((term,), model.inputs).evaluate(values, 1)[0]
                gold[finish] = gold.get(finish, 0.0) + float(amount)
    return tuple(sorted(gold, key=lambda f: -gold[f]))


@dataclass(frozen=True)
class TrackRecord:
    """The score of some estimates.

    Attributes:
        name: what they have in common.
        count: of them.
        coverage: of their 90 % ranges, with Wilson's own 90 % range.
        ratio: geometric mean of weighed ÷ estimated, with its 90 % range; the range is None below two.
        score_mg: mean CRPS.
    """

    name: str
    count: int
    coverage: Coverage
    ratio: float
    ratio_range: tuple[float, float] | None
    score_mg: float


def record(name: str, some: Sequence[YieldBesideEstimate]) -> TrackRecord | None:
    """Score the counted estimates; None if there are none."""
    counted = [p for p in some if p.counts and p.estimate_mg is not None and p.estimate_mg.value > 0]
    if not counted:
        return None
    # a yield of nothing has no logarithm: it is taken as a thousandth of what was expected
    logs = [log(max(p.fine_mg / p.estimate_mg.value, 1e-3)) for p in counted if p.estimate_mg is not None]
    middle, spread = float(np.mean(logs)), None
    if len(logs) > 1:
        half = _T_95[min(len(logs) - 1, len(_T_95)) - 1] * float(np.std(logs, ddof=1)) / sqrt(len(logs))
        spread = exp(middle - half), exp(middle + half)
    hits = sum(bool(p.inside) for p in counted)
    scores = [p.score_mg for p in counted if p.score_mg is not None]
    return TrackRecord(name, len(counted), share(hits, len(counted)), exp(middle), spread, float(np.mean(scores)))


# 95 % points of Student's t with 1, 2, … degrees of freedom, the last for more
# (NIST/SEMATECH e-Handbook, 1.3.6.7.2)
_T_95 = (
    6.314,
    2.920,
    2.353,
    2.132,
    2.015,
    1.943,
    1.895,
    1.860,
    1.833,
    1.812,
    1.796,
    1.782,
    1.771,
    1.761,
    1.753,
    1.746,
)

GROUPS: dict[str, Callable[[YieldBesideEstimate], tuple[str, ...]]] = {
    "finish": lambda p: p.finishes[:1],
    "part": lambda p: p.parts,
    "seller": lambda p: p.sellers,
    "year": lambda p: (str(p.day.year),),
}


def records(all_pairs: Sequence[YieldBesideEstimate], by: str) -> tuple[TrackRecord, ...]:
    """Records by ``finish`` (the one with most gold), ``part``, ``seller`` or ``year``.

    A yield of lots of several parts counts for each of them.
    """
    group = GROUPS[by]
    names = sorted({name for p in all_pairs for name in group(p)})
    found = (record(name, [p for p in all_pairs if name in group(p)]) for name in names)
    return tuple(r for r in found if r is not None)


@dataclass(frozen=True)
class CurvePoint:
    """One point of a calibration curve: how often central ranges of a level held what was weighed."""

    level: float
    coverage: Coverage


def calibration_curve(all_pairs: Sequence[YieldBesideEstimate]) -> tuple[CurvePoint, ...]:
    """Coverage of central ranges of 10 % to 90 %; empty if nothing is counted."""
    places = [p.place for p in all_pairs if p.counts and p.place is not None]
    if not places:
        return ()
    return tuple(
        CurvePoint(level, share(sum(abs(p - 0.5) <= level / 2 + 1e-12 for p in places), len(places)))
        for level in LEVELS
    )
