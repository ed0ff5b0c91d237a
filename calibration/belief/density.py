"""The probability of weighed batches, given the unknowns, with its gradient.

The effective thickness of a plating is ``thickness of the part × seller × fraction recovered``. On boards that were
not shown, where the seller chose those to show, it is also ``× gold on such boards ÷ on those shown``. A batch holds
``g = Σ mg_per_um × effective thickness`` over its platings, so that the model apportions a batch of several finishes.
The balance shows ``m = g × e^batch + balance error``: two-component error after Rocke and Durbin (Biometrics 59
(2003) 985), whose generalised logarithm ``asinh(s m / u) / s`` has spread 1 everywhere. So a batch much heavier than
the balance's uncertainty u is judged by its ratio, and a batch near zero by its difference; a reading of zero needs
no special case. The error is Student's t.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import numpy as np
from numpy.typing import NDArray

from calibration.arrays import FloatArray
from calibration.belief.batches import Batch, Priors, WeighedPlating
from calibration.belief.maps import student_4
from calibration.belief.parts import UncertainSpread
from calibration.belief.unknowns import Unknowns, UnknownsLayout, fresh_numbers, log_thickness_of, part_keys

DEGREES_OF_FREEDOM = 4  # of the curve in ``maps``
_STUDENT = student_4()
Index = NDArray[np.intp]
_BLOCK = 20_000  # numbers


@dataclass(frozen=True)
class Weighings:
    """Batches as arrays: one column per plating, the platings of a batch side by side.

    Attributes:
        layout: layout of the unknowns.
        design: float64 (size, platings): 1 where the logarithm of a plating's thickness contains an unknown.
        mg_per_um: float64 (platings,).
        starts: first plating of each batch, (batches,).
        batch_of: batch of each plating, (platings,).
        mass: float64 (batches,), mg.
        balance: standard uncertainties, float64 (batches,), mg.
        variance: relative variance of everything that scales a batch, float64 (batches,).
    """

    layout: UnknownsLayout
    design: FloatArray
    mg_per_um: FloatArray
    starts: Index
    batch_of: Index
    mass: FloatArray
    balance: FloatArray
    variance: FloatArray

    @staticmethod
    def of(batches: Sequence[Batch], priors: Priors) -> Weighings:
        """The arrays of one or more batches."""
        at = UnknownsLayout.of(batches, priors)
        keys = part_keys(batches)
        rows = [(n, b, p, keys[n][k]) for n, b in enumerate(batches) for k, p in enumerate(b.platings)]
        design = np.zeros((at.size, len(rows)))
        for column, (_, b, p, part) in enumerate(rows):
            touched = [at.parts[part], at.sellers[p.seller], at.processes[b.process]]
            design[touched + ([at.picked[p.seller]] if p.picked else []), column] = 1.0
        batch_of = np.array([n for n, *_ in rows], dtype=np.intp)
        return Weighings(
            layout=at,
            design=design,
            mg_per_um=np.array([p.mg_per_um for _, _, p, _ in rows]),
            starts=np.searchsorted(batch_of, np.arange(len(batches))),
            batch_of=batch_of,
            mass=np.array([b.mass_mg for b in batches]),
            balance=np.array([b.uncertainty_mg for b in batches]),
            variance=np.array([b.relative_sd**2 for b in batches]),
        )

    def single(self) -> Weighings:
        """In single precision, which is twice as fast: sums over batches are off by some 1e-4 of a log-likelihood."""
        numbers = (self.design, self.mg_per_um, self.mass, self.balance, self.variance)
        design, per_um, mass, balance, variance = (_single(a) for a in numbers)
        return Weighings(self.layout, design, per_um, self.starts, self.batch_of, mass, balance, variance)

    def only(self, some: Index) -> Weighings:
        """The arrays of some of the batches, in their order, with the same unknowns."""
        rows = np.flatnonzero(np.isin(self.batch_of, some))
        batch_of = np.searchsorted(some, self.batch_of[rows])
        return Weighings(
            self.layout,
            self.design[:, rows],
            self.mg_per_um[rows],
            np.searchsorted(batch_of, np.arange(len(some))),
            batch_of,
            self.mass[some],
            self.balance[some],
            self.variance[some],
        )


def _single(numbers: FloatArray) -> FloatArray:
    # the type describes the meaning of a number, not its precision
    return cast("FloatArray", numbers.astype(np.float32))


def spread_of(spread: UncertainSpread, z: FloatArray) -> FloatArray:
    """A spread, given its standard normal number."""
    return spread.middle * np.exp(spread.factor * z)


def log_recovery(priors: Priors, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Logarithm of the fraction recovered, and its slope."""
    logit = math.log(priors.recovery_middle / (1 - priors.recovery_middle)) + priors.recovery_width * z
    return -np.logaddexp(0, -logit), priors.recovery_width / (1 + np.exp(logit))


def effect(spread: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Effect of a seller on the logarithm, and its slope in z."""
    value, slope = _STUDENT(z)
    return spread * value, spread * slope


def glog_residual(mass: FloatArray, gold: FloatArray, spread: FloatArray, balance: FloatArray) -> FloatArray:
    """Distance of the mass from the expected gold, in spreads, on the generalised logarithm."""
    return np.asarray((_asinh(spread * mass / balance) - _asinh(spread * gold / balance)) / spread)


def _asinh(x: FloatArray) -> FloatArray:
    # numpy's own function takes four times as long
    size = np.abs(x)
    return np.asarray(np.copysign(np.log(size + np.sqrt(size * size + 1)), x))


def weighed(gold: FloatArray, residual: FloatArray, spread: FloatArray, balance: FloatArray) -> FloatArray:
    """The inverse of ``glog_residual``: what the balance shows, mg."""
    return np.asarray(balance / spread * np.sinh(np.arcsinh(spread * gold / balance) + spread * residual))


@dataclass(frozen=True)
class Density:
    """Log-likelihood of weighed batches as a function of standard normal numbers."""

    weighings: Weighings
    priors: Priors

    @cached_property
    def _unknowns(self) -> Unknowns:
        return Unknowns(self.weighings.layout, self.priors)

    def batchwise(self, z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Expected gold in mg, spread, and log-likelihood for z (n, size), each (n, batches)."""
        values, _ = self._values(z)
        rows = np.exp(values @ self.weighings.design) * self.weighings.mg_per_um
        gold = np.add.reduceat(rows, self.weighings.starts, axis=1)
        spread = self._spread(z)
        return gold, spread, self._terms(gold, spread)[0]

    def __call__(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Log-likelihood (n,) and its gradient (n, size) for z (n, size)."""
        # in blocks that stay in the processor's cache: nearly twice as fast for many batches
        blocks = -(-z.shape[0] * len(self.weighings.mg_per_um) // _BLOCK)
        parts = [self._block(part) for part in np.array_split(z, max(blocks, 1))]
        return np.concatenate([value for value, _ in parts]), np.concatenate([slope for _, slope in parts])

    def _block(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        w, p, layout = self.weighings, self.priors, self.weighings.layout
        values, slopes = self._values(z)
        rows = np.exp(values.astype(w.design.dtype) @ w.design) * w.mg_per_um
        gold = rows if len(w.starts) == rows.shape[1] else np.add.reduceat(rows, w.starts, axis=1)
        spread = self._spread(z)
        terms, by_gold, by_spread = self._terms(gold, spread)
        by_value = ((by_gold if gold is rows else by_gold[:, w.batch_of]) * rows) @ w.design.T
        gradient = by_value * slopes
        sellers = list(layout.sellers.values())
        by_sellers = (by_value[:, sellers] * values[:, sellers]).sum(axis=1)
        gradient[:, layout.seller_spread] = p.seller.factor * by_sellers
        sigma = spread_of(p.batch, z[:, layout.batch_spread])
        gradient[:, layout.batch_spread] = p.batch.factor * sigma**2 * (by_spread / spread).sum(axis=1)
        return terms.sum(axis=1, dtype=np.float64), gradient

    def _spread(self, z: FloatArray) -> FloatArray:
        sigma = spread_of(self.priors.batch, z[:, self.weighings.layout.batch_spread])
        variance = self.weighings.variance
        return np.asarray(np.sqrt((sigma[:, None] ** 2).astype(variance.dtype) + variance))

    def _values(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Contribution of each unknown to the logarithm, and its slope in its own number, both (n, size)."""
        p, layout = self.priors, self.weighings.layout
        values, slopes = np.zeros_like(z), np.zeros_like(z)
        first, end = self._unknowns.parts_at
        values[:, first:end], slopes[:, first:end] = self._unknowns.log_thickness(z), self._unknowns.places[1]
        spread = spread_of(p.seller, z[:, layout.seller_spread])
        used = list(layout.sellers.values())
        values[:, used], slopes[:, used] = effect(spread[:, None], z[:, used])
        used = list(layout.picked.values())
        values[:, used], slopes[:, used] = p.picked(z[:, used])
        used = list(layout.processes.values())
        values[:, used], slopes[:, used] = log_recovery(p, z[:, used])
        return values, slopes

    def _terms(self, gold: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Log-likelihood of each batch, and its slopes in the gold and in the spread.

        The result equals that of ``glog_residual``. The roots that its inverse hyperbolic sines share are computed
        once, and a product takes one logarithm, because learning from two thousand batches must take only seconds.
        """
        w, nu = self.weighings, DEGREES_OF_FREEDOM
        shown, expected = w.mass / w.balance, gold / w.balance
        root_shown = np.sqrt((spread * shown) ** 2 + 1)
        root_expected = np.sqrt((spread * expected) ** 2 + 1)
        ends = np.abs(spread * shown) + root_shown
        ends[:, w.mass < 0] = 1 / ends[:, w.mass < 0]
        residual = np.log(ends / (spread * expected + root_expected)) / spread
        wide = 1 + residual**2 / nu
        constant = math.lgamma((nu + 1) / 2) - math.lgamma(nu / 2) - 0.5 * math.log(nu * math.pi)
        # (nu + 1) / 2 is two and a half
        terms = constant - np.log(w.balance) - np.log(root_shown * wide**2 * np.sqrt(wide))
        pull = (nu + 1) / nu * residual / wide
        share_shown, share_expected = shown / root_shown, expected / root_expected
        by_residual_spread = (-residual + share_shown - share_expected) / spread
        by_spread = -pull * by_residual_spread - spread * share_shown**2
        return terms, pull / (w.balance * root_expected), by_spread


def log_thickness(
    z: FloatArray, layout: UnknownsLayout, priors: Priors, plating: WeighedPlating, process: int, seed: int
) -> FloatArray:
    """Logarithm of a plating's effective thickness in um, (n,), for draws z (n, size) of the unknowns.

    Unknowns that the batches did not touch (another part, a new seller, a process not yet used) are drawn afresh.
    """
    at = layout.sellers.get(plating.seller)
    number = fresh_numbers(seed, len(z), 1, "seller", plating.seller)[:, 0] if at is None else z[:, at]
    seller = effect(spread_of(priors.seller, z[:, layout.seller_spread]), number)[0]
    used = layout.processes.get(process)
    number = fresh_numbers(seed, len(z), 1, "process", process)[:, 0] if used is None else z[:, used]
    recovery = log_recovery(priors, number)[0]
    picked = log_picked(z, layout, priors, plating.seller, seed) if plating.picked else 0.0
    return np.asarray(log_thickness_of(z, layout, priors, plating, seed) + seller + picked + recovery)


def log_picked(z: FloatArray, layout: UnknownsLayout, priors: Priors, seller: str, seed: int) -> FloatArray:
    """Logarithm of gold on boards not shown ÷ on those that a seller chose to show, (n,)."""
    at = layout.picked.get(seller)
    return priors.picked(fresh_numbers(seed, len(z), 1, "picked", seller)[:, 0] if at is None else z[:, at])[0]
