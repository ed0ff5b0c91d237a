"""What ranges of lots hold when few boards are seen: ``python -m tests.lot_ranges [LOTS [SEED]]``.

Lots of 50 boards are drawn, lognormal with a spread of 0.3 to 1.0 and up to 30 % of them bare; some boards are seen,
each known exactly. Shown is how often the 90 % range of the whole holds the truth, and where it lies otherwise.
Lots of whose boards all that were seen are bare are drawn again: no one buys them.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from calibration.inputs import FloatArray
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


def main(lots: int = 500, seed: int = 1) -> None:
    """Print a line for each case."""
    rng = np.random.default_rng(seed)
    print(f"{lots} lots of {BOARDS} boards each; standard error of a share: {math.sqrt(0.09 / lots):.3f}")  # noqa: T201
    for spread, seen, bare in CASES:
        inside, below, above = held(spread, seen, bare, lots, rng)
        about = f"spread {spread}, {seen:2d} seen, {bare:.0%} bare"
        print(f"{about}: held {inside:.1%}, below {below:.1%}, above {above:.1%}", flush=True)  # noqa: T201


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
