"""What a few seen boards say about the others: spread, bare boards and mean are estimated together.

A seen board is bare with a chance ``b``; otherwise the logarithm of its gold is normal with mean ``m`` and spread
``s``. The priors of ``s`` and ``b`` are in ``data/spread.toml``. Given the boards seen,

    p(s | y) ~ p(s) s^(1 - k) exp(-S / (2 s²)),   m | s, y ~ N(mean of y, s² / k),
    p(b | z of n bare) ~ p(b) b^z (1 - b)^(n - z)

with ``y`` the logarithms of the ``k`` boards that hold gold and ``S`` the sum of their squared deviations (Gelman et
al., Bayesian Data Analysis, 3rd ed. 2013, 3.2 and 2.4; flat in ``m``). Boards seen together show their mean: a mean
of lognormals is taken for a lognormal of the same two moments (Fenton, IRE Trans. Commun. Syst. 8 (1960) 57). So is
that of the boards that nobody saw: ``(1 - b) exp(m + s² / 2)`` with the relative variance
``(exp(s²) / (1 - b) - 1) / (N - n)``, Cochran's for a mean (Sampling Techniques, 3rd ed. 1977, 2.2). Draws of all
three give the ratio of that mean to the one seen. Of the logarithm of what it is above one on average, the share
``(k - 1) / k`` is taken for k boards told apart: one board, or one heap, shows no spread, and adds nothing.

Nothing is held of how much gold such boards carry: a poor board is as likely bad luck as a poor lot. Where lots
differ from each other no more than a lot's few boards, ranges hold as stated, but the mean over many lots comes out
too high: by a third where lots differ by 0.5 on the logarithm and one to twelve boards are seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from calibration import quantiles
from calibration.arrays import FloatArray
from calibration.packaged import packaged_text
from calibration.sourced import SourcedValue, parse
from grader.lot.observed import Observed

# With less than a fiftieth of the richest one's gold a board counts as bare: its logarithm says nothing of others.
_BARE = 0.02
_GRID, _FROM, _TO, _MOST_BARE = 48, 0.04, 2.2, 0.9
_DRAWS, _KEPT = 4096, 400
_SEED = 20_112

Earlier = Sequence[Sequence[Observed]]


@dataclass(frozen=True)
class Unseen:
    """The distribution of the unphotographed boards.

    Attributes:
        ratio: their mean ÷ the mean of those seen, equally likely values, rising, float64 (400,).
        relative_sd: standard deviation between boards ÷ their mean, as it is most likely.
    """

    ratio: FloatArray
    relative_sd: float


def unseen_of(seen: Sequence[Observed], others: float, reach: float, earlier: Earlier = ()) -> Unseen:
    """Infer the unseen boards from the seen ones.

    Args:
        seen: at least one.
        others: number of unseen boards, above zero.
        reach: the ratio stays within this factor either way.
        earlier: boards seen in earlier lots of the same name, lot by lot. They tell how much boards vary and how many
            are bare, not how much gold these hold; each counts for less than a board of this lot (a power prior:
            Ibrahim and Chen, Statist. Sci. 15 (2000) 46, from memory).
    """
    (spread, spread_weight), (bare, bare_weight) = _spreads(), _bare_shares()
    middle, width, by_spread, by_bare = _told(seen, spread, bare)
    by_spread, by_bare = np.log(spread_weight) + by_spread, np.log(bare_weight) + by_bare
    boards = sum(o.boards for lot in earlier for o in lot)
    if boards:
        known = spread_figures()
        each = min(known["earlier_board"].value, known["earlier_boards_most"].value / boards)
        for lot in earlier:
            _, _, of_spread, of_bare = _told(lot, spread, bare)
            by_spread, by_bare = by_spread + each * of_spread, by_bare + each * of_bare
    by_spread, by_bare = _normalised(by_spread), _normalised(by_bare)
    u, v, w, x = _even_draws()
    at, share = np.searchsorted(np.cumsum(by_spread), u), np.searchsorted(np.cumsum(by_bare), v)
    at, share = np.minimum(at, len(spread) - 1), np.minimum(share, len(bare) - 1)
    s, b = spread[at], bare[share]
    typical = (1 - b) * np.exp(middle[at] + width[at] * w + s**2 / 2)
    scatter = np.log1p((np.exp(s**2) / (1 - b) - 1) / max(others, 1.0))
    ratio = typical * np.exp(np.sqrt(scatter) * x - scatter / 2)
    ratio = np.clip(ratio, 1 / reach, reach)
    ratio = ratio / ratio.mean() ** (1 / len(seen))
    kept = np.quantile(ratio, (np.arange(_KEPT) + 0.5) / _KEPT)
    return Unseen(kept, float(np.median(np.sqrt(np.exp(s**2) / (1 - b) - 1))))


def _told(
    seen: Sequence[Observed], spread: FloatArray, bare: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What boards of one lot say: ``_mean_of_log``, and the log-likelihood of each share of bare boards."""
    mean = sum(o.gold for o in seen) / sum(o.size for o in seen)
    rich = max((o.gold / o.size for o in seen), default=0.0)
    held = [o for o in seen if o.gold / o.size > _BARE * rich > 0]
    alone = [o for o in seen if o.boards == 1]
    without = sum(o not in held for o in alone)
    with np.errstate(divide="ignore"):
        nothing_bare = np.where(bare > 0, np.log(bare), -np.inf)
    some = without * nothing_bare if without else np.zeros_like(bare)
    return *_mean_of_log(held, mean, spread), some + (len(alone) - without) * np.log1p(-bare)


def _mean_of_log(
    held: Sequence[Observed], mean: float, spread: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For each spread: mean and spread of ``m``, and the boards' log-likelihood, each (grid,)."""
    if not held:
        return np.zeros_like(spread), spread, np.zeros_like(spread)
    y = np.log([o.gold / o.size / mean for o in held])
    together = np.array([o.boards for o in held], dtype=np.float64)
    variance = np.log1p((np.exp(spread[:, None] ** 2) - 1) / together)  # of the logarithm of a mean of so many
    y = y - (spread[:, None] ** 2 - variance) / 2
    precision = (1 / variance).sum(axis=1)
    middle = (y / variance).sum(axis=1) / precision
    squares = ((y - middle[:, None]) ** 2 / variance).sum(axis=1)
    likely = -0.5 * (np.log(variance).sum(axis=1) + np.log(precision) + squares)
    return middle, 1 / np.sqrt(precision), likely


def _normalised(log_weight: FloatArray) -> FloatArray:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


@cache
def _spreads() -> tuple[FloatArray, FloatArray]:
    """Possible spreads, and the prior probability of each."""
    known = spread_figures()
    spread = np.exp(np.linspace(math.log(_FROM), math.log(_TO), _GRID))
    z = (np.log(spread) - math.log(known["spread_log"].value)) / known["spread_log_factor"].value
    return spread, np.exp(-0.5 * z**2)


@cache
def _bare_shares() -> tuple[FloatArray, FloatArray]:
    """Possible shares of bare boards, zero first, and the prior probability of each."""
    known = spread_figures()
    share = (np.arange(_GRID) + 0.5) / _GRID * _MOST_BARE
    weight = (1 - share) ** (known["bare_boards"].value - 1)
    none = known["none_bare"].value
    return np.concatenate([[0.0], share]), np.concatenate([[none], (1 - none) * weight / weight.sum()])


@cache
def _even_draws() -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Two columns of uniform and two of normal numbers (n,), one from each of n slices (Latin hypercube sampling)."""
    rng = np.random.default_rng(_SEED)
    u, v, w, x = (rng.permutation(quantiles.strata(rng, _DRAWS)[0]) for _ in range(4))
    return u, v, quantiles.standard_normal(w), quantiles.standard_normal(x)


@cache
def spread_figures() -> dict[str, SourcedValue]:
    """The figures of ``data/spread.toml``."""
    return dict(parse(packaged_text("grader.lot", "data/spread.toml"), "spread"))
