"""Simulation-based check of the belief: ``python -m calibration.belief.check [logs [seed]]``.

Worlds are drawn from the priors, batches are weighed in them, and the belief is queried. If it is right, the rank of
the truth among the belief's draws is uniform (Talts, Betancourt, Simpson, Vehtari, Gelman, arXiv:1804.06788, 2018),
and 90 % ranges of the next batch contain it in 90 % of the worlds.

Twelve quantities are checked, among them those that parts share, and the thickness of a part that was never weighed.
Of twelve p values of a belief that is right, one below 0.01 turns up in one run of nine (1 - 0.99^12). That alone
proves nothing; run more logs with another seed. The check fails if the smallest p value is below 0.01 / 12, a limit
that is valid however the quantities are correlated (Bonferroni). A histogram's chi-square is slow to detect smooth
deviations. The mean and the width of the ranks, in standard errors, show them sooner: a width above zero means that
the belief is too sure of itself.
"""

from __future__ import annotations

import math
import sys
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.belief.batches import Batch, Priors, WeighedPlating, published_priors
from calibration.belief.density import Density, Weighings, log_thickness, weighed
from calibration.belief.learn import Belief, learn
from calibration.belief.unknowns import Unknowns, UnknownsLayout, log_thickness_of
from calibration.finishes import HARD_GOLD, IMMERSION_GOLD
from calibration.scores import crps
from calibration.thickness import Finish

BINS = 16
LEAST_P = 0.01
_RANKED = 255
_SELLERS = 3
_KINDS = ("memory", "memory", "memory", "memory", "consumer_cards", "unknown")  # of each part


@dataclass(frozen=True)
class SimulatedLog:
    """A simulated log, the batch to come, and the truth.

    Attributes:
        batches: weighed batches.
        next_batch: a batch of the same world, in the process of the last one.
        truth: true unknowns, float64 (size,), in the order of ``layout``.
        layout: layout of the unknowns of all batches, including the next one and the new one.
        new_batch: a batch of a part that was never weighed.
    """

    batches: tuple[Batch, ...]
    next_batch: Batch
    truth: FloatArray
    layout: UnknownsLayout
    new_batch: Batch


def world(count: int, rng: np.random.Generator, priors: Priors) -> SimulatedLog:
    """A log of some batches: six parts of three kinds, three sellers, batches of two finishes, now and then a change.

    The first seller chooses the boards that are shown; the other boards of the lot went into the batch too.
    """
    batches = []
    process = 0
    for number in range(count + 2):
        if 0 < number < count and rng.random() < 0.05:
            process += 1
        finishes: tuple[Finish, ...] = (HARD_GOLD,)
        if rng.random() < 0.4:
            finishes = (HARD_GOLD, IMMERSION_GOLD) if rng.random() < 0.7 else (IMMERSION_GOLD,)
        place = int(rng.integers(len(_KINDS)))
        part, kind, seller = f"part {place}", _KINDS[place], int(rng.integers(_SELLERS))
        if number == count + 1:
            part, kind, finishes, seller = "new", "memory", (HARD_GOLD,), 1
        shown = tuple(
            WeighedPlating(f, float(np.exp(rng.normal(4, 1))), part, f"seller {seller}", kind) for f in finishes
        )
        others = tuple(replace(p, mg_per_um=3 * p.mg_per_um, picked=True) for p in shown) if seller == 0 else ()
        balance, relative = float(np.exp(rng.normal(0.7, 0.7))), float(rng.uniform(0.01, 0.1))
        batches.append(Batch(str(number), (*shown, *others), 1.0, balance, relative, process))
    weighings = Weighings.of(batches, priors)
    (truth,) = Unknowns(weighings.layout, priors).draw(1, rng)
    gold, spread, _ = Density(weighings, priors).batchwise(truth[None])
    weights = weighed(gold[0], rng.standard_t(4, len(batches)), spread[0], weighings.balance)
    done = [replace(b, mass_mg=float(m)) for b, m in zip(batches, weights, strict=True)]
    return SimulatedLog(tuple(done[:-2]), done[-2], truth, weighings.layout, done[-1])


def ranks(w: SimulatedLog, belief: Belief) -> dict[str, int]:
    """Rank of each true quantity among 255 draws: 0 to 255."""
    plating = w.batches[-1].platings[0]
    process = w.batches[-1].process
    truth, last = w.truth[None], belief.draws[-_RANKED:]
    memory = (HARD_GOLD, "memory")
    pairs = {
        "seller": (w.layout.sellers[plating.seller], belief.layout.sellers[plating.seller]),
        "recovery": (w.layout.processes[process], belief.layout.processes[process]),
        "part spread": (w.layout.part_spread, belief.layout.part_spread),
        "seller spread": (w.layout.seller_spread, belief.layout.seller_spread),
        "batch spread": (w.layout.batch_spread, belief.layout.batch_spread),
    }
    shared = ("typical thickness", "typical flash", "chance of flash")
    # for a family, or a seller that picks, that no batch touched, draws and truth both come from the prior
    fresh = np.random.default_rng([belief.seed, 3]).standard_normal((len(last), len(shared) + 1))
    found = {name: int((last[:, here] < w.truth[there]).sum()) for name, (there, here) in pairs.items()}
    for n, name in enumerate(shared):
        known = belief.layout.families.get(memory)
        draws = fresh[:, n] if known is None else last[:, known[n]]
        found[name] = int((draws < w.truth[w.layout.families[memory][n]]).sum())
    if "seller 0" in w.layout.picked:
        known_at = belief.layout.picked.get("seller 0")
        draws = fresh[:, -1] if known_at is None else last[:, known_at]
        found["choice of boards shown"] = int((draws < w.truth[w.layout.picked["seller 0"]]).sum())
    for name, of in (("part", plating), ("new part", w.new_batch.platings[0])):
        thickness = log_thickness_of(last, belief.layout, belief.priors, of, belief.seed)
        found[name] = int((thickness < log_thickness_of(truth, w.layout, belief.priors, of, 0)).sum())
    effective = log_thickness(last, belief.layout, belief.priors, plating, process, belief.seed)
    true = log_thickness(truth, w.layout, belief.priors, plating, process, 0)
    return {**found, "effective thickness": int((effective < true).sum())}


@dataclass(frozen=True)
class Ranks:
    """Uniformity of the ranks of one quantity.

    Attributes:
        chi_square: distance from uniform, in 16 bins.
        lean: deviation of their mean from the middle, in standard errors; above zero if the belief is too low.
        width: deviation of their variance from a uniform one, in standard errors; above zero if the belief is too
            sure of itself.
    """

    chi_square: float
    lean: float
    width: float

    @property
    def p(self) -> float:
        """Chance of a chi-square at least as large, if the ranks are uniform."""
        return chi_square_tail(self.chi_square, BINS - 1)

    @staticmethod
    def of(found: NDArray[np.intp]) -> Ranks:
        """From ranks (n,) of 0 to 255."""
        n = len(found)
        counts = np.bincount(found * BINS // (_RANKED + 1), minlength=BINS)
        expected = n / BINS
        places = (found + 0.5) / (_RANKED + 1)
        # a uniform number has mean 1/2 and variance 1/12; its squared deviation has variance 1/180
        lean = (places.mean() - 0.5) * math.sqrt(12 * n)
        width = (((places - 0.5) ** 2).mean() - 1 / 12) * math.sqrt(180 * n)
        return Ranks(float(((counts - expected) ** 2 / expected).sum()), float(lean), float(width))


def chi_square_tail(x: float, degrees: int) -> float:
    """Upper tail of chi-square with an odd number of degrees of freedom (Abramowitz and Stegun, 26.4.4)."""
    term, total = math.sqrt(2 * x / math.pi) * math.exp(-x / 2), 0.0
    for k in range(1, degrees - 1, 2):
        total += term
        term *= x / (k + 2)
    return math.erfc(math.sqrt(x / 2)) + total


@dataclass(frozen=True)
class Checked:
    """Results of some simulated logs.

    Attributes:
        ranks: ranks of each quantity.
        coverage: share of next batches inside their 90 % range.
        new_coverage: the same for batches of a part that was never weighed.
        score: mean CRPS of the logarithm of the next batch, by number of weighed batches (least, most).
        untaught_score: the same from the priors alone.
        noise: standard error of the difference of the two; infinite for a single log.
    """

    ranks: dict[str, Ranks]
    coverage: float
    new_coverage: float
    score: dict[tuple[int, int], float]
    untaught_score: dict[tuple[int, int], float]
    noise: dict[tuple[int, int], float]

    @property
    def smallest_p(self) -> float:
        """The smallest of the quantities' p values, times their number, at most 1."""
        return min(1.0, len(self.ranks) * min(r.p for r in self.ranks.values()))


GROUPS = ((1, 2), (3, 6), (7, 14), (15, 30))


def check(logs: int, seed: int = 1) -> Checked:
    """Simulate logs of 1 to 30 batches, and query the belief."""
    rng = np.random.default_rng(seed)
    priors = published_priors()
    untaught = learn((), priors=priors)
    found: list[dict[str, int]] = []
    inside = new_inside = 0
    scores: dict[tuple[int, int], list[tuple[float, float]]] = {g: [] for g in GROUPS}
    for _ in range(logs):
        count = int(rng.integers(1, 31))
        w = world(count, rng, priors)
        own_seed = int(rng.integers(2**31))
        belief = replace(learn(w.batches, priors=priors, seed=own_seed), process=w.next_batch.process)
        found.append(ranks(w, belief))
        coming = w.next_batch
        draws, before = (
            b.gold(coming.platings, coming.relative_sd, coming.uncertainty_mg) for b in (belief, untaught)
        )
        low, high = np.quantile(draws, [0.05, 0.95])
        inside += bool(low <= coming.mass_mg <= high)
        new = w.new_batch
        low, high = np.quantile(belief.gold(new.platings, new.relative_sd, new.uncertainty_mg), [0.05, 0.95])
        new_inside += bool(low <= new.mass_mg <= high)
        group = next(g for g in GROUPS if g[0] <= count <= g[1])
        scores[group].append((_score(draws, coming), _score(before, coming)))
    pairs = {g: np.array(found) for g, found in scores.items() if found}
    return Checked(
        {
            name: Ranks.of(np.array([r[name] for r in found if name in r]))
            for name in {n: 0 for r in found for n in r}
        },
        inside / logs,
        new_inside / logs,
        {g: float(p[:, 0].mean()) for g, p in pairs.items()},
        {g: float(p[:, 1].mean()) for g, p in pairs.items()},
        {
            g: float((p[:, 0] - p[:, 1]).std(ddof=1) / math.sqrt(len(p))) if len(p) > 1 else math.inf
            for g, p in pairs.items()
        },
    )


def _score(draws: FloatArray, seen: Batch) -> float:
    """CRPS on the logarithm, down to the balance's uncertainty; in mg, a few huge batches would dominate the mean."""
    least = seen.uncertainty_mg
    return crps(np.log(np.maximum(draws, least)), float(np.log(max(seen.mass_mg, least))))


def main() -> None:
    """Print the figures; exit with 1 if any is outside its limits."""
    given = [int(text) for text in sys.argv[1:3]]
    logs, seed = (*given, *(2000, 1)[len(given) :])
    done = check(logs, seed)
    lines = [f"{logs} logs"]
    lines += [
        f"ranks of {name}: chi-square {r.chi_square:.1f}, p {r.p:.3g}{'' if r.p > LEAST_P else ' (below 0.01)'}, "
        f"lean {r.lean:+.1f}, width {r.width:+.1f}"
        for name, r in done.ranks.items()
    ]
    lines.append(f"smallest p of {len(done.ranks)}, times {len(done.ranks)}: {done.smallest_p:.3g} (above {LEAST_P})")
    lines.append(f"next batch inside its 90 % range: {done.coverage:.1%} (87 % to 93 %)")
    lines.append(f"batch of a part never weighed inside its 90 % range: {done.new_coverage:.1%} (87 % to 93 %)")
    lines += [
        f"{low} to {high} batches: CRPS {done.score[low, high]:.4f}, untaught {done.untaught_score[low, high]:.4f}, "
        f"difference known to {done.noise[low, high]:.4f}"
        for low, high in done.score
    ]
    sys.stdout.write("\n".join(lines) + "\n")
    sound = all(0.87 <= c <= 0.93 for c in (done.coverage, done.new_coverage)) and done.smallest_p > LEAST_P
    sys.exit(0 if sound else 1)


if __name__ == "__main__":
    main()
