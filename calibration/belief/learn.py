"""The belief about effective thickness: learned from weighed batches, asked for ranges.

Effective thickness is thickness × fraction recovered. Weighing gives only the product of the two: it cannot tell
thick plating poorly recovered from thin plating recovered in full, and no figure here claims to do so.
"""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from calibration.arrays import FloatArray
from calibration.belief.batches import Batch, Priors, WeighedPlating, published_priors
from calibration.belief.density import (
    Density,
    Weighings,
    effect,
    glog_residual,
    log_picked,
    log_thickness,
    spread_of,
    weighed,
)
from calibration.belief.sampler import DRAWS, MANY, posterior_draws
from calibration.belief.unknowns import Unknowns, UnknownsLayout
from calibration.distributions import Distribution
from calibration.inputs import DEFAULT_SEED, Input
from calibration.kinds import UNKNOWN, KindKey
from calibration.thickness import FINISHES, Finish

UNLIKELY = 0.01  # chance of a batch as far out, either way, below which the batch should be checked
_DIGITS = 5
_METHOD = 3  # rises with each change that gives other draws from the same batches


@dataclass(frozen=True)
class Shift:
    """Change of a finish's effective thickness in um, each value as (5 % point, median, 95 % point).

    Attributes:
        finish: finish of the plating.
        before: thickness by the priors.
        now: thickness by the belief.
        batches: number of batches with this finish that it rests on.
    """

    finish: Finish
    before: tuple[float, float, float]
    now: tuple[float, float, float]
    batches: int

    @property
    def factor(self) -> float:
        """Median now ÷ median before."""
        return self.now[1] / self.before[1]

    @property
    def narrower(self) -> float:
        """Width of the range as a ratio, now ÷ before, on the logarithm: below 1 where something was learned."""
        return float(np.log(self.now[2] / self.now[0]) / np.log(self.before[2] / self.before[0]))


@dataclass(frozen=True)
class PartKnown:
    """Belief about one part from one seller, both of which were weighed.

    Attributes:
        finish: finish of the plating.
        part: its name; empty for boards without a name.
        seller: who sold it.
        now: effective thickness in um, as (5 % point, median, 95 % point).
        batches: number of batches with such boards from this seller.
    """

    finish: Finish
    part: str
    seller: str
    now: tuple[float, float, float]
    batches: int


@dataclass(frozen=True)
class SellerKnown:
    """Belief about one seller.

    Attributes:
        seller: name of the seller.
        beside: effective thickness of the same boards from this seller ÷ from any other, as (5 % point, median, 95 %
            point).
        picked: gold on boards not shown ÷ on those that this seller chose to show, in the same form; None if no such
            lot was weighed.
        batches: number of batches with boards from this seller.
    """

    seller: str
    beside: tuple[float, float, float]
    picked: tuple[float, float, float] | None
    batches: int


@dataclass(frozen=True)
class Belief:
    """Belief about effective thickness from weighed batches.

    Attributes:
        batches: the batches that it rests on.
        process: the newest process, for which it holds.
        draws: draws of the unknowns, float64 (1024, size).
        layout: layout of the unknowns.
        priors: the priors that it started from.
        seed: seed of the random numbers.
    """

    batches: tuple[Batch, ...]
    process: int
    draws: FloatArray
    layout: UnknownsLayout
    priors: Priors
    seed: int

    @property
    def id(self) -> str:
        """Twelve hex digits: the same for the same batches, process, priors and seed."""
        return identity(self.batches, self.process, self.priors, self.seed)

    def thickness(self, finish: Finish, part: str = "", seller: str = "", kind: KindKey = UNKNOWN) -> FloatArray:
        """Draws of the effective thickness in um, float64 (1024,), aligned with those of other finishes."""
        plating = WeighedPlating(finish, 1.0, part, seller, kind)
        return np.exp(log_thickness(self.draws, self.layout, self.priors, plating, self.process, self.seed))

    def picked(self, seller: str = "") -> FloatArray:
        """Draws of gold on boards not shown ÷ on those that this seller chose to show, float64 (1024,)."""
        return np.exp(log_picked(self.draws, self.layout, self.priors, seller, self.seed))

    def batch_factor(self) -> FloatArray:
        """Draws of the result of one batch ÷ its expected result, float64 (1024,)."""
        spread = spread_of(self.priors.batch, self.draws[:, self.layout.batch_spread])
        return np.exp(spread * np.random.default_rng([self.seed, 2]).standard_t(4, len(spread)))

    def inputs(
        self, part: str = "", seller: str = "", made: str = "", kind: KindKey = UNKNOWN
    ) -> dict[Finish, Input]:
        """Effective thickness of each finish, as one batch will show it, as inputs of an estimate.

        Args:
            part: the boards' part; one that was never weighed gets the range of any part.
            seller: the same for the seller.
            made: day of the belief, for the source.
            kind: kind of boards; it matters where the part was never weighed.
        """
        count = len(self.batches)
        on = f" of {made}" if made else ""
        source = f"belief{on} from {count} weighed {'batch' if count == 1 else 'batches'}"
        about = "".join(f", {label} {text}" for label, text in (("part", part), ("seller", seller)) if text)
        # drawn jointly over finishes, parts and sellers: one process recovers them all
        boards = hashlib.sha256(json.dumps([part, seller, kind]).encode()).hexdigest()[:8]
        batch = self.batch_factor()
        return {
            finish: Input(
                "thickness",
                f"effective thickness (thickness × fraction recovered) of {finish.replace('_', ' ')}",
                Distribution("sample", tuple(_rounded(self.thickness(finish, part, seller, kind) * batch))),
                source + about,
                "um",
                aligned_over=f"{finish}:{boards}",
                of=(finish, boards),
                belief=self.id,
            )
            for finish in FINISHES
        }

    def picking(self, part: str, seller: str = "") -> Input:
        """Gold on boards of a part that were not shown ÷ on those that a seller chose to show, as an input.

        It is drawn independently of the thickness, although weighed lots determine the product of the two. This makes
        the range of a lot a little wider, never narrower.
        """
        return Input(
            "picking",
            f"boards that the seller did not show: {part}",
            Distribution("sample", tuple(_rounded(self.picked(seller)))),
            f"belief from {len(self.batches)} weighed batches" + (f", seller {seller}" if seller else ""),
            of=(part,),
            belief=self.id,
        )

    def gold(
        self, platings: Sequence[WeighedPlating], relative_sd: float = 0.0, uncertainty_mg: float = 1.0
    ) -> FloatArray:
        """Draws of the fine gold in mg that the next batch of such platings will show, float64 (1024,)."""
        rng = np.random.default_rng([self.seed, 2])
        whole = np.zeros(len(self.draws))
        for p in platings:
            whole += p.mg_per_um * np.exp(
                log_thickness(self.draws, self.layout, self.priors, p, self.process, self.seed)
            )
        spread = np.sqrt(spread_of(self.priors.batch, self.draws[:, self.layout.batch_spread]) ** 2 + relative_sd**2)
        balance = np.full_like(spread, uncertainty_mg)
        return weighed(whole, rng.standard_t(4, len(whole)), spread, balance)

    def shifts(self) -> tuple[Shift, ...]:
        """Change of each weighed finish from the priors, for boards without a named part or seller."""
        untaught = learn((), priors=self.priors, seed=self.seed)
        return tuple(
            Shift(f, _three(untaught.thickness(f)), _three(self.thickness(f)), self._holding(f))
            for f in FINISHES
            if self._holding(f)
        )

    def known(self) -> tuple[PartKnown, ...]:
        """Effective thickness of each part from each seller that was weighed, by finish and name."""
        counts = Counter(key for b in self.batches for key in {(p.finish, p.part, p.seller) for p in b.platings})
        return tuple(
            PartKnown(finish, part, seller, _three(self.thickness(finish, part, seller)), count)
            for (finish, part, seller), count in sorted(counts.items())
        )

    def sellers(self) -> tuple[SellerKnown, ...]:
        """Each seller's boards compared with those of others, and boards not shown with those shown, by name."""
        spread = spread_of(self.priors.seller, self.draws[:, self.layout.seller_spread])
        holding = Counter(seller for b in self.batches for seller in {p.seller for p in b.platings})
        return tuple(
            SellerKnown(
                seller,
                _three(np.exp(effect(spread, self.draws[:, self.layout.sellers[seller]])[0])),
                _three(self.picked(seller)) if seller in self.layout.picked else None,
                count,
            )
            for seller, count in sorted(holding.items())
        )

    def _holding(self, finish: Finish) -> int:
        return sum(any(p.finish == finish for p in b.platings) for b in self.batches)

    def surprise(self) -> dict[str, tuple[float, float]]:
        """Ratio of weighed to expected and the chance of lying as far out, for each batch, by all other batches.

        The belief from the other batches follows from the draws with weights of one over the batch's own likelihood,
        cut off at the square root of their number times the mean (Ionides, J. Comput. Graph. Stat. 17 (2008) 295).
        """
        if not self.batches:
            return {}
        weighings = Weighings.of(self.batches, self.priors)
        gold, spread, terms = Density(weighings, self.priors).batchwise(self.draws)
        weights = np.exp(terms.min(axis=0) - terms)
        weights = np.minimum(weights, weights.mean(axis=0) * np.sqrt(len(weights)))
        weights /= weights.sum(axis=0)
        residual = glog_residual(weighings.mass, gold, spread, weighings.balance)
        # distribution function of Student's t with four degrees of freedom
        scaled = residual / np.sqrt(4 + residual**2)
        below = (weights * (0.5 + 0.75 * (scaled - scaled**3 / 3))).sum(axis=0)
        expected = np.exp((weights * np.log(gold)).sum(axis=0))
        return {
            b.name: (float(b.mass_mg / expected[n]), float(2 * min(below[n], 1 - below[n])))
            for n, b in enumerate(self.batches)
        }


def learn(
    batches: Sequence[Batch], *, process: int | None = None, priors: Priors | None = None, seed: int = DEFAULT_SEED
) -> Belief:
    """The belief from weighed batches.

    Args:
        batches: any number of batches; without batches the belief is that of the priors.
        process: the newest process; that of the last batch if left out.
        priors: priors that it starts from; the published ones if left out.
        seed: seed of the random numbers; the same seed gives the same belief.
    """
    start = published_priors() if priors is None else priors
    # matrices this small gain nothing from several threads, which wait for each other on a busy processor
    with threadpool_limits(limits=1, user_api="blas"):
        return _learned(batches, process, start, seed)


def _learned(batches: Sequence[Batch], process: int | None, start: Priors, seed: int) -> Belief:
    layout = UnknownsLayout.of(batches, start)
    newest = max((b.process for b in batches), default=0) if process is None else process
    rng = np.random.default_rng([seed, 0])
    prior = Unknowns(layout, start)
    if batches:
        weighings = Weighings.of(batches, start)
        platings = sum(len(b.platings) for b in batches)
        few = platings <= MANY
        portions = [
            Density(weighings.only(some) if few else weighings.only(some).single(), start)
            for some in _portions(len(batches), platings)
        ]
        draws = posterior_draws(prior, portions, platings, rng)
    else:
        draws = prior.draw(DRAWS, rng)
    return Belief(tuple(batches), newest, draws, layout, start, seed)


def _portions(batches: int, platings: int) -> list[NDArray[np.intp]]:
    """Batches in portions, each about as large as all before it; a single portion for few batches.

    Each portion is taken evenly from the whole log, so that the first ones already cover all parts and sellers.
    """
    count, rest = 1, platings
    while rest > MANY:
        count, rest = count + 1, rest // 2
    # batches with an odd number; of the others, those with an odd half; and so on: the last portion is half of all
    numbers = np.arange(batches)
    found = []
    for _ in range(count - 1):
        found.append(numbers[1::2])
        numbers = numbers[::2]
    return [numbers, *found[::-1]]


def remembered(
    batches: Sequence[Batch],
    draws: FloatArray,
    *,
    process: int,
    priors: Priors | None = None,
    seed: int = DEFAULT_SEED,
) -> Belief | None:
    """The belief whose draws were kept; None if they cannot be those of these batches."""
    start = published_priors() if priors is None else priors
    layout = UnknownsLayout.of(batches, start)
    if draws.shape != (DRAWS, layout.size) or draws.dtype != np.float64 or not np.isfinite(draws).all():
        return None
    return Belief(tuple(batches), process, draws, layout, start, seed)


def identity(batches: Sequence[Batch], process: int, priors: Priors | None = None, seed: int = DEFAULT_SEED) -> str:
    """The id of the belief that ``learn`` returns, without learning it."""
    start = published_priors() if priors is None else priors
    said = [_METHOD, [asdict(b) for b in batches], process, seed, _fingerprint(start)]
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:12]


def _three(draws: FloatArray) -> tuple[float, float, float]:
    low, middle, high = np.quantile(draws, [0.05, 0.5, 0.95])
    return float(low), float(middle), float(high)


def _rounded(draws: FloatArray) -> list[float]:
    """Five digits: enough for any range, and a document of half the size."""
    return [float(f"{x:.{_DIGITS}g}") for x in draws]


def _fingerprint(priors: Priors) -> str:
    said = hashlib.sha256(repr((priors.seller, priors.batch, priors.recovery_middle, priors.recovery_width)).encode())
    said.update(priors.picked.values.tobytes())
    for key, family in sorted(priors.families.items()):
        said.update(repr(key).encode())
        said.update(b"" if family.flash_logit is None else family.flash_logit.values.tobytes())
        for c in family.components:
            said.update(repr((c.spread, c.weight, c.flash)).encode())
            said.update(c.typical.values.tobytes())
    return said.hexdigest()
