"""Thickness of the gold on kinds of boards: each kind is a draw from a mixture with unknown middles and shares.

A *family* is a finish on boards of one trade (edge contacts of memory modules). Each of its *parts* (a kind of board,
as the log names it) is flash gold with some chance, otherwise plated. Its log thickness is then normal about the
typical one of that component. The chance, the typical thicknesses and the spread of parts about them are shared by
the family, uncertain, and learned: partial pooling of groups with a finite mixture at the group's level (Gelman et
al., Bayesian Data Analysis, 3rd ed. 2013, chapters 5 and 22). So a part that was never weighed keeps the flash hump
whatever other parts held, while a single weighing of a part nearly settles which it is.

The component of a part is summed over, never drawn: given the thickness of the part and the shared unknowns, the
chance of each component has a closed form (ibid., 22.1). The unknown of a part is the logarithm of its thickness
itself, so that the batches of one part affect the shared unknowns only through that number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief.maps import Curve, normal_quantile

_LEAST = 1e-12  # of a share, so that it has a logarithm


@dataclass(frozen=True)
class UncertainSpread:
    """A spread on the natural logarithm that is itself uncertain: lognormal.

    Attributes:
        middle: its median.
        factor: standard deviation of its logarithm.
    """

    middle: float
    factor: float


@dataclass(frozen=True)
class Component:
    """Some similar parts of a family.

    Attributes:
        typical: logarithm of their typical thickness in um, as a curve of a standard normal number.
        spread: spread of parts about it.
        weight: their share among the plated, or among the flash-gold, parts of the family.
        flash: whether they are flash gold.
    """

    typical: Curve
    spread: UncertainSpread
    weight: float = 1.0
    flash: bool = False


@dataclass(frozen=True)
class FamilyPrior:
    """Assumptions about the parts of a family before any was weighed.

    Attributes:
        components: components of the mixture.
        flash_logit: ln(p / (1 - p)) of the chance p that a part is flash gold, as a curve; None if all components
            are of the same type.
    """

    components: tuple[Component, ...]
    flash_logit: Curve | None = None

    @property
    def numbers(self) -> int:
        """Number of unknowns that its parts share: the plated typical thickness, the flash one, and the chance."""
        return 1 if self.flash_logit is None else 3

    @cached_property
    def middle(self) -> tuple[float, float]:
        """Approximate middle and spread of the logarithms of its parts' thickness, used only for scaling."""
        zero = np.zeros(1)
        logs = [np.exp(log_weight[0]) for log_weight in self.at(zero[:, None].repeat(self.numbers, 1), zero).weights]
        means = [float(c.typical(zero)[0][0]) for c in self.components]
        mean = float(np.dot(logs, means))
        variances = [float(c.typical(zero)[1][0]) ** 2 + c.spread.middle**2 for c in self.components]
        squares = [w * (v + (m - mean) ** 2) for w, v, m in zip(logs, variances, means, strict=True)]
        return mean, max(float(np.sqrt(np.sum(squares))), 1e-6)

    def at(self, shared: FloatArray, spread: FloatArray) -> Shared:
        """The mixture at given unknowns.

        Args:
            shared: standard normal numbers (n, ``numbers``).
            spread: standard normal number of the spreads, (n,).
        """
        if self.flash_logit is None:
            log_flash = log_plated = np.zeros(len(shared))
            chance = chance_slope = np.zeros(len(shared))
        else:
            logit, chance_slope = self.flash_logit(shared[:, 2])
            log_flash, log_plated = -np.logaddexp(0, -logit), -np.logaddexp(0, logit)
            chance = np.exp(log_flash)
        weights, typical, slopes, spreads, factors = [], [], [], [], []
        for c in self.components:
            weights.append(np.log(max(c.weight, _LEAST)) + (log_flash if c.flash else log_plated))
            value, slope = c.typical(shared[:, 1 if c.flash and self.flash_logit is not None else 0])
            typical.append(value)
            slopes.append(slope)
            spreads.append(c.spread.middle * np.exp(c.spread.factor * spread))
            factors.append(c.spread.factor)
        return Shared(self, weights, typical, slopes, spreads, factors, chance, chance_slope)


@dataclass(frozen=True)
class Shared:
    """A family's mixture at n draws of the unknowns that its parts share; each list has one entry per component.

    Attributes:
        family: the family.
        weights: logarithms of the weights, (n,).
        typical: typical log thickness, (n,).
        slopes: slopes of ``typical`` in its standard normal number, (n,).
        spreads: spreads of parts, (n,).
        factors: slopes of the spreads' logarithms in their standard normal number.
        chance: chance of flash gold, (n,).
        chance_slope: slope of its logit, (n,).
    """

    family: FamilyPrior
    weights: Sequence[FloatArray]
    typical: Sequence[FloatArray]
    slopes: Sequence[FloatArray]
    spreads: Sequence[FloatArray]
    factors: Sequence[float]
    chance: FloatArray
    chance_slope: FloatArray

    def log_density(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Log density of log thicknesses x (n, parts), summed over the parts, and its slopes.

        Returns:
            Sum (n,); slopes in x (n, parts), in the shared numbers (n, ``numbers``), in the spreads' number (n,).
        """
        places = [(x - m[:, None]) / s[:, None] for m, s in zip(self.typical, self.spreads, strict=True)]
        logs = [
            w[:, None] - 0.5 * r**2 - np.log(s)[:, None]
            for w, r, s in zip(self.weights, places, self.spreads, strict=True)
        ]
        whole = logs[0] if len(logs) == 1 else np.logaddexp.reduce(logs)
        by_x, by_spread = np.zeros_like(x), np.zeros(len(x))
        by_shared = np.zeros((len(x), self.family.numbers))
        for n, c in enumerate(self.family.components):
            mine = np.exp(logs[n] - whole)
            pull = mine * places[n] / self.spreads[n][:, None]
            by_x -= pull
            by_shared[:, int(c.flash and self.family.flash_logit is not None)] += pull.sum(axis=1) * self.slopes[n]
            by_spread += self.factors[n] * (mine * (places[n] ** 2 - 1)).sum(axis=1)
            if self.family.flash_logit is not None and c.flash:
                by_shared[:, 2] += mine.sum(axis=1)
        if self.family.flash_logit is not None:
            by_shared[:, 2] = (by_shared[:, 2] - x.shape[1] * self.chance) * self.chance_slope
        return whole.sum(axis=1), by_x, by_shared, by_spread

    def draw(self, u: FloatArray) -> FloatArray:
        """Log thickness of a part, (n,), from uniform numbers that choose the component and the place within it."""
        ends = np.cumsum(np.exp(self.weights), axis=0)
        ends /= ends[-1]
        found, below = np.empty(len(u)), np.zeros(len(u))
        for end, m, s in zip(ends, self.typical, self.spreads, strict=True):
            inside = (u >= below) & (u <= end)
            within = np.clip((u - below) / np.maximum(end - below, _LEAST), 0.0, 1.0)
            found = np.where(inside, m + s * normal_quantile(within), found)
            below = end
        return found
