"""What the seen boards say about the unseen ones.

A sample of n boards out of N, drawn without replacement, has a mean that misses the mean of all with the variance
``(1 - n / N) S² / n`` (Cochran, Sampling Techniques, 3rd ed. 1977, theorem 2.2). The seen boards are known, so all
of that error lies in the others: their mean differs from that of the seen ones by a factor whose relative variance is
``s² N / (n (N - n))``, s being the relative standard deviation between boards. Written that way no draw can say that
a lot holds less than what was seen in it.

Where forty boards or more were seen, the spread s is pooled from a prior worth a few boards and from the boards seen
(the posterior of a scaled inverse chi-squared prior; Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, 2.6), and
the factor's logarithm follows Student's t, as in JCGM 101:2008, 6.4.9. Its mean is one, so that nothing is added on
average to what was seen; no shape of the spread is assumed. A few boards reveal neither their spread nor
their mean that well: ``grader.lot.unseen`` handles them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.lot.observed import Observed
from grader.lot.unseen import Earlier, spread_figures, unseen_of

# The unseen boards of a part are not taken to differ from the seen ones by more than a factor of ten on average.
_REACH_LOG = math.log(10.0)
# From so many boards on their own mean and spread tell, whatever the shape of the spread (central limit theorem).
MANY = 40


@dataclass(frozen=True)
class Spread:
    """The variation between boards.

    Attributes:
        relative_sd: standard deviation between boards ÷ their mean.
        degrees: degrees of freedom behind it.
    """

    relative_sd: float
    degrees: float


def prior_spread() -> Spread:
    """The prior, before boards are seen."""
    figures = spread_figures()
    return Spread(figures["between_boards_sd"].value, figures["between_boards_degrees"].value)


def observed_spread(seen: Sequence[Observed]) -> Spread | None:
    """Spread between boards about a ratio of gold to size; None with fewer than two observations.

    For single boards this is the residual variance of Cochran's ratio estimator (6.4), and if size is the number
    of boards the ordinary sample variance. Boards seen together count as their mean, with their number as its weight.
    """
    gold, size, boards = sum(o.gold for o in seen), sum(o.size for o in seen), sum(o.boards for o in seen)
    if len(seen) < 2 or gold <= 0:
        return None
    mean = gold / boards
    squares = sum(o.boards * ((o.gold - gold / size * o.size) / o.boards / mean) ** 2 for o in seen)
    return Spread(math.sqrt(squares / (len(seen) - 1)), len(seen) - 1)


def pooled(prior: Spread, observed: Spread | None) -> Spread:
    """Prior and observation combined, weighted by degrees of freedom."""
    if observed is None:
        return prior
    degrees = prior.degrees + observed.degrees
    squares = prior.degrees * prior.relative_sd**2 + observed.degrees * observed.relative_sd**2
    return Spread(math.sqrt(squares / degrees), degrees)


@dataclass(frozen=True)
class Others:
    """The unseen boards.

    Attributes:
        factor: their mean ÷ the mean of the seen ones, an input.
        relative_sd: standard deviation between boards ÷ their mean.
    """

    factor: Input
    relative_sd: float


def others_than(
    part: str, seen: Sequence[Observed], total: float, boards: int | None = None, earlier: Earlier = ()
) -> Others | None:
    """The distribution of a part's unseen boards; None if all were seen.

    Args:
        part: name of the kind of boards.
        seen: at least one observation.
        total: N, boards in the lot.
        boards: n, boards seen, if fewer than the observations say.
        earlier: boards seen in earlier lots of the same name, lot by lot.
    """
    n = sum(o.boards for o in seen) if boards is None else boards
    if total <= n:
        return None
    if n >= MANY:
        spread = pooled(prior_spread(), observed_spread(seen))
        factor = unseen_factor(part, spread, n, total)
        return None if factor is None else Others(factor, spread.relative_sd)
    found = unseen_of(seen, total - n, math.exp(_REACH_LOG), earlier)
    known = Distribution("sample", tuple(float(f"{x:.5g}") for x in found.ratio))
    return Others(_input(part, known, "spread, mean and bare boards, told by the few boards seen"), found.relative_sd)


def unseen_factor(part: str, spread: Spread, seen: int, total: float) -> Input | None:
    """Mean of the unseen boards ÷ mean of the seen ones; None if all were seen.

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
    return _input(part, Distribution("log_student_t", (median, scale, spread.degrees, _REACH_LOG)), source)


def _input(part: str, known: Distribution, source: str) -> Input:
    return Input("unseen-boards", f"boards that were not photographed: {part}", known, source, of=(part,))


def _mean_of_exponential(scale: float, degrees: float) -> float:
    """Mean of exp(x) where x ÷ scale follows Student's t and x is cut off at the reach."""
    if scale == 0:
        return 1.0
    x = np.linspace(-_REACH_LOG, _REACH_LOG, 20_001)
    density = (1 + (x / scale) ** 2 / degrees) ** (-(degrees + 1) / 2)
    return float(np.sum(density * np.exp(x)) / np.sum(density))
