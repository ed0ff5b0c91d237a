"""What ranges of lots hold when few boards are seen: ``python -m tests.lot_ranges [LOTS [SEED]]``.

Lots of 50 boards are drawn, lognormal with a spread of 0.3 to 1.0 and up to 30 % of them bare; some boards are seen,
each known exactly. Shown is how often the 90 % range of the whole holds the truth, and where it lies otherwise.
Lots of whose boards all that were seen are bare are drawn again: no one buys them. Before that: how often a lot holds
less than the 10 % point of its range where the boards shown were picked, by what is said of who picked them.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from calibration.arrays import FloatArray
from grader.lot.assumed import lot_inputs
from grader.lot.observed import Observed
from grader.lot.sampling import others_than

BOARDS = 50
CASES = tuple((s, n, b) for n in (2, 4, 7, 10, 20, 39) for s in (0.3, 0.6, 1.0) for b in (0.0, 0.1, 0.3))


def boards_of(spread: float, bare: float, seen: int, rng: np.random.Generator) -> FloatArray:
    """Gold on the boards of a lot, the seen ones first."""
    while True:
        gold = np.exp(spread * rng.standard_normal(BOARDS)) * (rng.random(BOARDS) >= bare)
        if gold[:seen].any():
            return gold


def held(spread: float, seen: int, bare: float, lots: int, rng: np.random.Generator) -> tuple[float, float, float]:
    """Shares of lots whose gold lies in the range, below it and above it."""
    places = np.zeros(3)
    for _ in range(lots):
        gold = boards_of(spread, bare, seen, rng)
        others = others_than("boards", [Observed(float(g), 1, 1.0) for g in gold[:seen]], float(BOARDS))
        assert others is not None
        ratio = others.factor.distribution.at((np.arange(2000) + 0.5) / 2000)
        low, high = gold[:seen].sum() + gold[:seen].mean() * (BOARDS - seen) * np.quantile(ratio, [0.05, 0.95])
        places += [low <= gold.sum() <= high, gold.sum() < low, gold.sum() > high]
    inside, below, above = places / lots
    return float(inside), float(below), float(above)


def below_the_cautious_end(picked: str, best_of: int, lots: int, rng: np.random.Generator) -> float:
    """Share of lots with less gold than the 10 % point says: what bidding it would lose, all else known.

    Two to eight boards are shown, each the best of so many at hand; 8 % are bare, the others vary by 0.3.
    """
    known = lot_inputs().get(f"picking:{picked}")
    u = (np.arange(2000) + 0.5) / 2000
    less = 0
    for _ in range(lots):
        seen = int(rng.integers(2, 9))
        gold = boards_of(0.3, 0.08, BOARDS, rng)
        shown = np.sort(gold[: seen * best_of].reshape(seen, best_of))[:, -1]
        if not shown.any():
            continue
        others = others_than("boards", [Observed(float(g), 1, 1.0) for g in shown], float(BOARDS))
        assert others is not None
        ratio = rng.permutation(others.factor.distribution.at(u))
        ratio = ratio if known is None else ratio * known.distribution.at(u)
        low = shown.sum() + shown.mean() * (BOARDS - seen) * np.quantile(ratio, 0.10)
        less += gold.sum() < low
    return less / lots


def main(lots: int = 500, seed: int = 1) -> None:
    """Print a line for each case."""
    rng = np.random.default_rng(seed)
    for picked in ("blindly", "not_said", "seller"):
        shares = {m: below_the_cautious_end(picked, m, lots, rng) for m in (1, 2, 3)}
        told = ", ".join(f"best of {m}: {share:.1%}" for m, share in shares.items())
        print(f"below the 10 % point where picked is said to be {picked}: {told}", flush=True)  # noqa: T201
    print(f"{lots} lots of {BOARDS} boards each; standard error of a share: {math.sqrt(0.09 / lots):.3f}")  # noqa: T201
    for spread, seen, bare in CASES:
        inside, below, above = held(spread, seen, bare, lots, rng)
        about = f"spread {spread}, {seen:2d} seen, {bare:.0%} bare"
        print(f"{about}: held {inside:.1%}, below {below:.1%}, above {above:.1%}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
