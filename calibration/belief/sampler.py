"""Draws of the unknowns given the weighed batches.

A cloud of draws starts from the prior and moves to the belief while the weighed batches count more and more, from not
at all to fully (sequential Monte Carlo with tempering: Del Moral, Doucet, Jasra, J. R. Stat. Soc. B 68 (2006) 411).
Each step is as large as possible while half of the cloud stays effective. After each step, draws that fit badly are
replaced by copies of draws that fit, and all move by Hamiltonian Monte Carlo (Neal, Handbook of Markov Chain Monte
Carlo, 2011, chapter 5) in the coordinates in which the cloud is round.

Many batches come in portions, each as large as all before it. When the last portion comes, the cloud has already
contracted, and few steps with all batches are left (Chopin, Biometrika 89 (2002) 539, adds batches one after another
for this reason).

Reasons for this method: thickness has two humps, a batch of two kinds can be split in several ways, and an odd batch
may be an odd part or an odd weighing. A fit about one best point would therefore be too sure of itself. A cloud that
starts from everything held possible needs no such point. The division of the cloud between two humps is settled
early, by few draws: hence its even start, and as large a cloud as time allows. All is deterministic for a given seed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray

LogDensity = Callable[[FloatArray], tuple[FloatArray, FloatArray]]
"""Value (n,) and gradient (n, size) at unknowns (n, size)."""

DRAWS = 1024
# Two hundred batches must be learned from in 2 s, two thousand in 5 s.
_CLOUD, _CLOUD_OF_MANY = 512, 256
MANY = 128
_EFFECTIVE = 0.5
_MOVES, _LAST_MOVES, _LAST_MOVES_OF_MANY = 2, 16, 8
_LEAPS = 5
_FIRST_STEP = 0.35
_WANTED_ACCEPTANCE = 0.8


class Prior(Protocol):
    """Assumptions about the unknowns before anything was weighed."""

    def draw(self, count: int, rng: np.random.Generator) -> FloatArray:
        """Draws, float64 (count, size), spread evenly."""
        ...

    def __call__(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Logarithm of the density, up to a constant, and its gradient."""
        ...


@dataclass(frozen=True)
class _Cloud:
    """Draws, their log density that counts fully, and that of the coming portion; each with its gradient."""

    z: FloatArray
    held: FloatArray
    held_slope: FloatArray
    coming: FloatArray
    coming_slope: FloatArray

    def picked(self, index: NDArray[np.intp]) -> _Cloud:
        return _Cloud(*(a[index] for a in (self.z, self.held, self.held_slope, self.coming, self.coming_slope)))

    def at(self, weight: float) -> tuple[FloatArray, FloatArray]:
        """Log density and gradient where the coming portion has this weight."""
        return self.held + weight * self.coming, self.held_slope + weight * self.coming_slope


def posterior_draws(
    prior: Prior, portions: Sequence[LogDensity], observations: int, rng: np.random.Generator
) -> FloatArray:
    """Draws of the unknowns, float64 (1024, size).

    Args:
        prior: prior of the unknowns.
        portions: log-likelihoods of the batches in portions, at least one.
        observations: number of observations in them; the cost grows with it.
        rng: generator of the random numbers.
    """
    many = observations > MANY
    cloud = _CLOUD_OF_MANY if many else _CLOUD
    last = _LAST_MOVES_OF_MANY if many else _LAST_MOVES
    # the second half of the last moves gives as many clouds as are needed for the draws, evenly spaced
    spacing = last // 2 * cloud // DRAWS
    z = prior.draw(cloud, rng)
    step = _FIRST_STEP
    kept: list[FloatArray] = []
    for number, portion in enumerate(portions):
        parts: tuple[LogDensity, ...] = (prior, *portions[:number])
        now = _seen(parts, portion, z)
        weight = 0.0
        while weight < 1.0:
            more = _next(now.coming, weight)
            chance = np.exp((more - weight) * (now.coming - now.coming.max()))
            now, weight = now.picked(_systematic(chance / chance.sum(), rng)), more
            shape = _shape(now.z)
            done = weight == 1.0 and number == len(portions) - 1
            moves = last if done else _MOVES
            for move in range(moves):
                now, accepted = _move(parts, portion, now, weight, shape, step, rng)
                step = float(np.clip(step * np.exp(accepted - _WANTED_ACCEPTANCE), 0.02, 0.8))
                if move == moves // 2 - 1:
                    shape = _shape(now.z)
                elif done and move >= moves // 2 and (move + 1) % spacing == 0:
                    kept.append(now.z)
        z = now.z
    return np.concatenate(kept)


def _seen(held: Sequence[LogDensity], coming: LogDensity, z: FloatArray) -> _Cloud:
    values = [part(z) for part in held]
    value, slope = coming(z)
    return _Cloud(z, np.sum([v for v, _ in values], axis=0), np.sum([s for _, s in values], axis=0), value, slope)


def _next(value: FloatArray, weight: float) -> float:
    """The next weight of the batches: the largest that keeps half of the cloud effective, found by bisection."""
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
    """Cholesky factor (lower triangle) of the cloud's covariance, which is drawn a little towards its diagonal."""
    count, size = z.shape
    covariance = np.cov(z, rowvar=False).reshape(size, size)
    towards = size / (size + count)
    diagonal = np.diag(np.diag(covariance) + 1e-9)
    return np.linalg.cholesky((1 - towards) * covariance + towards * diagonal)


def _move(
    held: Sequence[LogDensity],
    coming: LogDensity,
    cloud: _Cloud,
    weight: float,
    shape: FloatArray,
    step: float,
    rng: np.random.Generator,
) -> tuple[_Cloud, float]:
    """One Hamiltonian move of every draw; returns them, and the share accepted."""
    push = rng.standard_normal(cloud.z.shape)
    lengths = step * rng.uniform(0.7, 1.3, (len(cloud.z), 1))
    value, slope = cloud.at(weight)
    before = value - 0.5 * (push**2).sum(axis=1)
    new, z = cloud, cloud.z
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # a draw that diverges is rejected
        for _ in range(_LEAPS):
            push = push + lengths / 2 * (slope @ shape)
            z = z + lengths * (push @ shape.T)
            new = _seen(held, coming, z)
            value, slope = new.at(weight)
            push = push + lengths / 2 * (slope @ shape)
        gain = value - 0.5 * (push**2).sum(axis=1) - before
    gain = np.where(np.isfinite(gain), gain, -np.inf)
    taken = np.log(rng.random(len(z))) < gain
    chosen = taken[:, None]
    moved = _Cloud(
        np.where(chosen, new.z, cloud.z),
        np.where(taken, new.held, cloud.held),
        np.where(chosen, new.held_slope, cloud.held_slope),
        np.where(taken, new.coming, cloud.coming),
        np.where(chosen, new.coming_slope, cloud.coming_slope),
    )
    return moved, float(np.minimum(np.exp(np.minimum(gain, 0)), 1).mean())
