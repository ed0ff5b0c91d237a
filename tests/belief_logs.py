"""What the belief holds in logs that are not of its own making: ``python -m tests.belief_logs WHAT [LOGS [SEED]]``.

``next``: four kinds of boards of 0.05 to 1.4 um, all equally likely on the logarithm, three sellers, 20 yields of a
process that recovers all; how often the next yield lies in the 90 % range after 1, 3, 6, 12 and 20 of them.
``unseen``: after twelve yields of three plated kinds (0.40 to 0.76, 0.8 to 1.4, 0.2 to 0.6 um), a kind that was never
weighed, of 0.07 to 1.25 um: how often its yield lies in the range, and the low end against the truth.
``flash``: the same, of kinds of flash gold as the belief holds them: thickness drawn about its own median.
``change``: recovery drops by 28 % at yield 9 of 15, marked or not: errors of the next predictions.

``python -m calibration.belief.check`` draws the logs from the priors themselves: there, a belief that is right holds
90 %. Here the logs are others', and a belief may hold more or less.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief import Batch, Belief, Priors, WeighedPlating, learn, published_priors
from calibration.finishes import HARD_GOLD
from calibration.kinds import UNKNOWN, KindKey, board_kind

_Pair = tuple[FloatArray, float]  # draws of what a batch will show, and what it shows

STAGES = (1, 3, 6, 12, 20)
THICKNESSES_UM = (0.07, 0.10, 0.15, 0.40, 1.25)
_LOT, _BALANCE, _SELLER, _RELATIVE = 0.12, 1.15, 0.08, 0.05
_EACH = 6  # predictions after each stage
_DROP, _CHANGED = 0.72, 8


@dataclass(frozen=True)
class Predicted:
    """Predictions against what was weighed.

    Attributes:
        held: share inside the 90 % range.
        cases: how many.
        width: typical high end ÷ low end.
        error: median of the absolute logarithmic error of the median.
        bias: median of the logarithmic error.
        low: typical low end ÷ truth.
    """

    held: float
    cases: int
    width: float
    error: float
    bias: float
    low: float

    @staticmethod
    def of(pairs: list[_Pair]) -> Predicted:
        """From draws, each with what was weighed."""
        low, middle, high = np.maximum(np.array([np.quantile(d, [0.05, 0.5, 0.95]) for d, _ in pairs]).T, 1.0)
        truth = np.maximum(np.array([t for _, t in pairs]), 1.0)
        log = np.log(middle / truth)
        return Predicted(
            float(np.mean((low <= truth) & (truth <= high))),
            len(pairs),
            float(np.exp(np.median(np.log(high / low)))),
            float(np.median(np.abs(log))),
            float(np.median(log)),
            float(np.median(low / truth)),
        )


def yielded(
    name: str, um: float, part: str, seller: str, rng: np.random.Generator, kind: KindKey = UNKNOWN, process: int = 0
) -> Batch:
    """A lot of so thick gold, weighed."""
    per_um = float(np.exp(rng.normal(4, 0.7)))
    scatter = float(np.exp(_LOT * rng.standard_normal() + _RELATIVE * rng.standard_normal()))
    shown = per_um * um * scatter + float(rng.uniform(-2, 2))
    plating = WeighedPlating(HARD_GOLD, per_um, part, seller, kind)
    return Batch(name, (plating,), shown, _BALANCE, _RELATIVE, process)


def foretold(belief: Belief, coming: Batch) -> _Pair:
    """Draws of what a batch will show, and what it shows."""
    return belief.gold(coming.platings, _RELATIVE, _BALANCE), coming.mass_mg


def next_yields(logs: int, seed: int, priors: Priors) -> dict[int, Predicted]:
    """Of each stage."""
    rng = np.random.default_rng(seed)
    found: dict[int, list[_Pair]] = {k: [] for k in STAGES}
    for _ in range(logs):
        parts = np.exp(rng.uniform(np.log(0.05), np.log(1.4), 4))
        sellers = np.exp(_SELLER * rng.standard_normal(3))

        def lot(name: str, parts: FloatArray = parts, sellers: FloatArray = sellers) -> Batch:
            part, seller = int(rng.integers(4)), int(rng.integers(3))
            return yielded(name, float(parts[part] * sellers[seller]), f"part {part}", f"seller {seller}", rng)

        batches = [lot(str(n)) for n in range(STAGES[-1])]
        for count in STAGES:
            belief = learn(batches[:count], priors=priors)
            found[count] += [foretold(belief, lot("next")) for _ in range(_EACH)]
    return {count: Predicted.of(pairs) for count, pairs in found.items()}


def unseen_kind(um: float | None, kind: KindKey, logs: int, seed: int, priors: Priors) -> Predicted:
    """A kind of so many um that was never weighed; None: flash gold as it is held beforehand."""
    pairs = []
    for number in range(logs):
        rng = np.random.default_rng([seed, number])
        parts = {
            f"part {n}": float(rng.uniform(*ends)) for n, ends in enumerate(((0.4, 0.76), (0.8, 1.4), (0.2, 0.6)))
        }
        batches = []
        for n in range(12):
            part = f"part {rng.integers(3)}"
            batches.append(yielded(str(n), parts[part], part, f"seller {rng.integers(3)}", rng, kind))
        belief = learn(batches, priors=priors)
        median, sigma = board_kind(kind).flash.parameters
        for _ in range(20):
            own = um if um is not None else float(median * np.exp(sigma * rng.standard_normal()))
            pairs.append(foretold(belief, yielded("new", own, "new", f"seller {rng.integers(3)}", rng, kind)))
    return Predicted.of(pairs)


def changed(logs: int, seed: int, priors: Priors, *, marked: bool) -> tuple[Predicted, Predicted]:
    """Predictions after 1, 2 and 4 yields of the changed process, and after 7."""
    soon: list[_Pair] = []
    late: list[_Pair] = []
    for number in range(logs):
        rng = np.random.default_rng([seed, number])
        parts = {f"part {n}": float(np.exp(rng.normal(np.log(0.65), 0.35))) for n in range(3)}
        rows = []
        for n in range(21):
            part = f"part {rng.integers(3)}"
            recovered = 0.9 * (_DROP if n >= _CHANGED else 1.0)
            process = int(marked and n >= _CHANGED)
            rows.append(yielded(str(n), parts[part] * recovered, part, "seller", rng, process=process))
        for count in (9, 10, 12, 15):
            belief = learn(rows[:count], priors=priors)
            (late if count == 15 else soon).extend(foretold(belief, rows[k]) for k in range(count, count + 3))
    return Predicted.of(soon), Predicted.of(late)


def lines(what: str, logs: int, seed: int, priors: Priors | None = None) -> Iterator[str]:
    """What is printed."""
    start = published_priors() if priors is None else priors
    if what == "next":
        for count, p in next_yields(logs, seed, start).items():
            yield f"after {count:2d}: held {p.held:.1%} of {p.cases}, width x{p.width:.2f}, error {p.error:.3f}"
    elif what in ("unseen", "flash"):
        for kind in (UNKNOWN, "memory"):
            for um in THICKNESSES_UM if what == "unseen" else (None,):
                p = unseen_kind(um, kind, logs, seed, start)
                about = "flash gold" if um is None else f"{um:.2f} um"
                yield f"{kind}, {about}: held {p.held:.1%} of {p.cases}, low end / truth {p.low:.2f}"
    else:
        for marked in (True, False):
            soon, late = changed(logs, seed, start, marked=marked)
            yield (
                f"{'marked' if marked else 'unmarked'}: after 1 to 4 bias {soon.bias:+.3f}, error {soon.error:.3f}, "
                f"held {soon.held:.1%} of {soon.cases}; after 7 bias {late.bias:+.3f}, error {late.error:.3f}"
            )


def main(what: str = "next", logs: int = 30, seed: int = 1) -> None:
    """Print a line for each case."""
    for line in lines(what, logs, seed):
        print(line, flush=True)  # noqa: T201


if __name__ == "__main__":
    main(*(sys.argv[1:2] or ["next"]), *(int(a) for a in sys.argv[2:]))
