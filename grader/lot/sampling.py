"""What boards that were seen say of boards that were not.

A sample of n boards out of N, drawn without replacement, has a mean that misses the mean of all with the variance
``(1 - n / N) S² / n`` (Cochran, Sampling Techniques, 3rd ed. 1977, theorem 2.2). The seen boards are known, so all
of that error lies in the others: their mean differs from that of the seen ones by a factor whose relative variance is
``s² N / (n (N - n))``, s being the relative standard deviation between boards. Written that way no draw can say that
a lot holds less than what was seen in it.

The spread s is rarely known: one to three boards say next to nothing. It is pooled from a prior worth a few boards
and from the boards seen (the posterior of a scaled inverse chi-squared prior; Gelman et al., Bayesian Data Analysis,
3rd ed. 2013, 2.6), and the factor's logarithm then follows Student's t, as in JCGM 101:2008, 6.4.9: boards hold no
less than nothing, and a few of a kind are much richer than the rest. Its mean is one, so that nothing is added on
average to what was seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from calibration.inputs import Distribution, Input
from calibration.reading import packaged_text
from calibration.sourced import SourcedValue, parse

# The unseen boards of a part are not taken to differ from the seen ones by more than a factor of ten on average.
_REACH_LOG = math.log(10.0)


@dataclass(frozen=True)
class Observed:
    """Gold on some boards that cannot be told apart, seen together.

    Attributes:
        gold: on all of them.
        boards: how many they are.
        size: what gold is taken to go with: their number, or their mass.
    """

    gold: float
    boards: int
    size: float


@dataclass(frozen=True)
class Spread:
    """How much boards differ.

    Attributes:
        relative_sd: standard deviation between boards ÷ their mean.
        degrees: degrees of freedom that it rests on.
    """

    relative_sd: float
    degrees: float


def prior_spread() -> Spread:
    """What is assumed before boards were seen."""
    figures = _figures()
    return Spread(figures["between_boards_sd"].value, figures["between_boards_degrees"].value)


@cache
def _figures() -> dict[str, SourcedValue]:
    return dict(parse(packaged_text("grader.lot", "data/spread.toml"), "spread"))


def observed_spread(seen: Sequence[Observed]) -> Spread | None:
    """Spread between boards about a ratio of gold to size; None where fewer than two observations tell.

    For single boards this is the residual variance of Cochran's ratio estimator (6.4), and where size is the number
    of boards the ordinary sample variance. Boards seen together count as their mean, with their number as its weight.
    """
    gold, size, boards = sum(o.gold for o in seen), sum(o.size for o in seen), sum(o.boards for o in seen)
    if len(seen) < 2 or gold <= 0:
        return None
    mean = gold / boards
    squares = sum(o.boards * ((o.gold - gold / size * o.size) / o.boards / mean) ** 2 for o in seen)
    return Spread(math.sqrt(squares / (len(seen) - 1)), len(seen) - 1)


def pooled(prior: Spread, observed: Spread | None) -> Spread:
    """Prior and observation together, each weighed by its degrees of freedom."""
    if observed is None:
        return prior
    degrees = prior.degrees + observed.degrees
    squares = prior.degrees * prior.relative_sd**2 + observed.degrees * observed.relative_sd**2
    return Spread(math.sqrt(squares / degrees), degrees)


def sampling_sd(spread: Spread, seen: int, total: float) -> float:
    """Relative standard deviation of the mean of the boards seen, as an estimate of the mean of all.

    Cochran's theorem 2.2, relative to the mean.

    Args:
        spread: between boards.
        seen: n, boards seen.
        total: N, boards in the lot, at least n.
    """
    return spread.relative_sd * math.sqrt(max(1.0 / seen - 1.0 / total, 0.0))


def unseen_factor(part: str, spread: Spread, seen: int, total: float) -> Input | None:
    """Mean of the unseen boards ÷ mean of the seen ones; None where all were seen.

    Its mean is one, and its relative standard deviation that of the formula above (but for the tails of Student's t).

    Args:
        part: name of the kind of boards.
        spread: between boards.
        seen: n, boards seen.
        total: N, boards in the lot.
    """
    if total <= seen:
        return None
    relative_sd = spread.relative_sd * math.sqrt(total / (seen * (total - seen)))
    scale = min(math.sqrt(math.log1p(relative_sd**2)), _REACH_LOG)
    source = "spread between the boards seen, pooled with a prior; finite population (Cochran 1977)"
    median = 1.0 / _mean_of_exponential(scale, spread.degrees)
    known = Distribution("log_student_t", (median, scale, spread.degrees, _REACH_LOG))
    title = f"boards that were not photographed: {part}"
    return Input("unseen-boards", title, known, source, of=(part,))


def _mean_of_exponential(scale: float, degrees: float) -> float:
    """Mean of exp(x) where x ÷ scale follows Student's t and x is cut off at the reach."""
    if scale == 0:
        return 1.0
    x = np.linspace(-_REACH_LOG, _REACH_LOG, 20_001)
    density = (1 + (x / scale) ** 2 / degrees) ** (-(degrees + 1) / 2)
    return float(np.sum(density * np.exp(x)) / np.sum(density))
