"""Draws of the unknowns given what was weighed.

The unknowns are standard normal before anything was weighed. A cloud of such draws, spread evenly over each unknown
(Latin hypercube sampling: McKay, Beckman, Conover, Technometrics 21 (1979) 239), is led to the belief by letting
the weighed batches count step by step, from not at all to fully (sequential Monte Carlo with tempering: Del Moral,
Doucet, Jasra, J. R. Stat. Soc. B 68 (2006) 411), each step as large as keeps half of the cloud effective. After each
step the draws that fit badly give way to copies of those that fit, and all move by Hamiltonian Monte Carlo (Neal,
Handbook of Markov Chain Monte Carlo, 2011, chapter 5) in the coordinates in which the cloud is round.

Why this: thickness priors have two humps, a batch of two finishes can be split in several ways, and an odd batch may
be an odd part or an odd weighing, so that a fit about one best point would be too sure of itself; and a cloud
started from everything held possible needs no such point. How the cloud divides between two humps is settled early,
by few draws: hence the even start, and as large a cloud as time allows. All is deterministic for a seed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from calibration.belief.maps import normal_quantile
from calibration.inputs import FloatArray

LogLikelihood = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

DRAWS = 1024
# Two hundred batches must be learned from in 2 s.
_CLOUD, _CLOUD_OF_MANY, _MANY = 512, 256, 128
_EFFECTIVE = 0.5
_MOVES, _LAST_MOVES = 2, 16
_LEAPS = 5
_FIRST_STEP = 0.35
_WANTED_ACCEPTANCE = 0.8


def posterior_draws(
    log_likelihood: LogLikelihood, size: int, observations: int, rng: np.random.Generator
) -> FloatArray:
    """Draws of the unknowns, float64 (1024, size).

    Args:
        log_likelihood: value (n,) and gradient (n, size) at unknowns (n, size).
        size: number of unknowns.
        observations: how many the likelihood is of; its cost goes with them.
        rng: of the random numbers.
    """
    cloud = _CLOUD if observations <= _MANY else _CLOUD_OF_MANY
    # the last half of the last moves gives as many clouds as make up the draws, evenly spaced
    spacing = _LAST_MOVES // 2 * cloud // DRAWS
    z = _evenly(cloud, size, rng)
    value, slope = log_likelihood(z)
    weight, step = 0.0, _FIRST_STEP
    kept: list[FloatArray] = []
    while weight < 1.0:
        more = _next(value, weight)
        chance = np.exp((more - weight) * (value - value.max()))
        picked = _systematic(chance / chance.sum(), rng)
        z, value, slope, weight = z[picked], value[picked], slope[picked], more
        shape = _shape(z)
        moves = _MOVES if weight < 1.0 else _LAST_MOVES
        for move in range(moves):
            z, value, slope, accepted = _move(log_likelihood, z, value, slope, weight, shape, step, rng)
            step = float(np.clip(step * np.exp(accepted - _WANTED_ACCEPTANCE), 0.02, 0.8))
            if move == moves // 2 - 1:
                shape = _shape(z)
            elif weight == 1.0 and move >= moves // 2 and (move + 1) % spacing == 0:
                kept.append(z)
    return np.concatenate(kept)


def _evenly(count: int, size: int, rng: np.random.Generator) -> FloatArray:
    """Standard normal draws (count, size): in each column one from each of ``count`` equally likely intervals."""
    places = np.column_stack([rng.permutation(count) for _ in range(size)])
    return normal_quantile((places + rng.random((count, size))) / count)


def _next(value: FloatArray, weight: float) -> float:
    """The next weight of the batches: as large as keeps half of the cloud effective, found by halving."""
    low, high = weight, 1.0
    if _effective(value, high - weight) >= _EFFECTIVE:
        return 1.0
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if _effective(value, middle - weight) >= _EFFECTIVE else (low, middle)
    return low if low > weight else high


def _effective(value: FloatArray, more: float) -> float:
    chance = np.exp(more * (value - value.max()))
    return float(chance.sum() ** 2 / (chance**2).sum() / len(value))


def _systematic(chance: FloatArray, rng: np.random.Generator) -> NDArray[np.intp]:
    places = (np.arange(len(chance)) + rng.random()) / len(chance)
    return np.minimum(np.searchsorted(np.cumsum(chance), places), len(chance) - 1)


def _shape(z: FloatArray) -> FloatArray:
    """Lower triangle whose product with itself is the cloud's covariance, drawn a little towards its diagonal."""
    count, size = z.shape
    covariance = np.cov(z, rowvar=False).reshape(size, size)
    towards = size / (size + count)
    diagonal = np.diag(np.diag(covariance) + 1e-9)
    return np.linalg.cholesky((1 - towards) * covariance + towards * diagonal)


def _move(
    log_likelihood: LogLikelihood,
    z: FloatArray,
    value: FloatArray,
    slope: FloatArray,
    weight: float,
    shape: FloatArray,
    step: float,
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray, FloatArray, float]:
    """One Hamiltonian move of every draw; returns them with their values, and the share accepted."""
    push = rng.standard_normal(z.shape)
    lengths = step * rng.uniform(0.7, 1.3, (len(z), 1))
    new, new_value, new_slope = z, value, slope
    before = weight * value - 0.5 * (z**2).sum(axis=1) - 0.5 * (push**2).sum(axis=1)
    with np.errstate(over="ignore", invalid="ignore"):  # a draw that flies off is not taken
        for _ in range(_LEAPS):
            push = push + lengths / 2 * ((weight * new_slope - new) @ shape)
            new = new + lengths * (push @ shape.T)
            new_value, new_slope = log_likelihood(new)
            push = push + lengths / 2 * ((weight * new_slope - new) @ shape)
        after = weight * new_value - 0.5 * (new**2).sum(axis=1) - 0.5 * (push**2).sum(axis=1)
    gain = np.where(np.isfinite(after), after - before, -np.inf)
    taken = np.log(rng.random(len(z))) < gain
    chosen = taken[:, None]
    return (
        np.where(chosen, new, z),
        np.where(taken, new_value, value),
        np.where(chosen, new_slope, slope),
        float(np.minimum(np.exp(np.minimum(gain, 0)), 1).mean()),
    )
