"""Evidence about a lot's plating, stated or measured: a thickness, a reading, a test strip; and its effect.

Each piece of evidence has its own likelihood, and the belief about the lot becomes prior × likelihoods (Bayes' rule):
equally likely values of the prior are drawn again in proportion to their likelihood (importance weighting with
systematic resampling; Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, 10.4). For one lognormal and one reading
this is the normal posterior of its logarithm (2.5): precisions add. Errors of several readings are assumed to be
independent.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.digits import in_digits
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.kinds import BoardKind, PlatingAssumptions
from calibration.sourced import load_figures

_POINTS, _KEPT = 40_000, 1000


@dataclass(frozen=True)
class Statement:
    """A thickness that a seller or a data sheet states, um.

    It is right with some chance, and then the plating is close to it; otherwise it contains no information.
    """

    thickness_um: float

    @property
    def words(self) -> str:
        """In a few words."""
        return f"stated: {in_digits(self.thickness_um, 2)} µm"

    def log_likelihood(self, plating: Where) -> FloatArray:
        """Of each value of the plating, (n,)."""
        f = load_figures("evidence")
        stated, right = math.log(self.thickness_um), f["statement_right"].value
        at_random = _normal(stated - math.log(f["stated_at_random"].value), f["stated_at_random_spread"].value)
        spread = math.hypot(f["statement_spread"].value, plating.error_log)
        return np.asarray(np.log(right * _normal(stated - plating.log_present, spread) + (1 - right) * at_random))


@dataclass(frozen=True)
class Reading:
    """A thickness that an instrument shows at a contact of the lot, um.

    Attributes:
        thickness_um: thickness shown.
        sd_um: its standard uncertainty; None if nobody states one.
    """

    thickness_um: float
    sd_um: float | None = None

    @property
    def words(self) -> str:
        """In a few words."""
        return f"read: {in_digits(self.thickness_um, 2)} µm"

    def log_likelihood(self, plating: Where) -> FloatArray:
        """Of each value of the plating, (n,)."""
        f = load_figures("evidence")
        own = f["reading_spread"].value if self.sd_um is None else self.sd_um / self.thickness_um
        spread = math.hypot(own, f["places_spread"].value, plating.error_log)
        shown = math.log(self.thickness_um)
        if plating.pile is None:
            return -0.5 * ((shown - plating.log_present) / spread) ** 2
        return np.asarray(np.log(plating.density_of_one(shown, spread)))


@dataclass(frozen=True)
class Strip:
    """Gold that was weighed from a few boards of the lot.

    Attributes:
        mass_mg: fine gold.
        boards: that it was stripped from.
        mg_per_um: gold on one board if its plating were 1 um thick: area × density × gold fraction.
        area_sd: relative standard uncertainty of that.
    """

    mass_mg: float
    boards: int
    mg_per_um: float
    area_sd: float = 0.0

    @property
    def words(self) -> str:
        """In a few words."""
        return f"stripped: {in_digits(self.mass_mg)} mg of {self.boards} boards"

    def log_likelihood(self, plating: Where) -> FloatArray:
        """Of each value of the plating, (n,)."""
        f, b = load_figures("evidence"), load_figures("belief")
        sampling = math.hypot(f["strip_area_spread"].value, plating.designs_sd) / math.sqrt(self.boards)
        weighing = math.hypot(b["balance_uncertainty"].value / self.mass_mg, b["fineness_unknown_sd"].value)
        spread = math.hypot(
            self.area_sd, sampling, weighing, 0.0 if plating.recovered else f["recovered_spread"].value
        )
        shown = math.log(self.mass_mg / (self.boards * self.mg_per_um))
        expected = plating.log_um + (0.0 if plating.recovered else math.log(f["recovered"].value))
        return np.asarray(-0.5 * ((shown - expected) / spread) ** 2)


Evidence = Statement | Reading | Strip


@dataclass(frozen=True)
class Where:
    """The values of a lot's plating with which evidence is compared.

    Attributes:
        log_um: logarithm of the thickness in um, (n,): of the mean over all boards.
        flash: share of flash gold, (n,).
        recovered: whether thickness is effective: thickness × fraction recovered, as learned from weighed yields.
        pile: the kind, if the boards are of many designs; None if all are plated alike.
    """

    log_um: FloatArray
    flash: FloatArray
    recovered: bool = False
    pile: BoardKind | None = None

    @property
    def log_present(self) -> FloatArray:
        """Logarithm of the actual thickness, (n,)."""
        return self.log_um - (math.log(load_figures("evidence")["recovered"].value) if self.recovered else 0.0)

    @property
    def error_log(self) -> float:
        """Uncertainty of that logarithm by itself."""
        return load_figures("evidence")["recovered_spread"].value if self.recovered else 0.0

    @property
    def designs_sd(self) -> float:
        """Relative standard deviation of thickness between boards."""
        if self.pile is None:
            return 0.0
        one = self.pile.plating("one").thickness.at(_even(_KEPT))
        return float(one.std() / one.mean())

    def density_of_one(self, log_um: float, spread: float) -> FloatArray:
        """Density of a reading on one board of a pile, (n,): flash or hard gold of some design, and the error."""
        assert self.pile is not None  # noqa: S101 - callers have a pile
        hard, flash = self.pile.hard, self.pile.flash
        flash_mean, hard_mean = (float(d.at(_even(_KEPT)).mean()) for d in (flash, hard))
        # the pile's mean is (1 - f) hard + f flash, so that its hard gold is
        typical = (np.exp(self.log_um) - self.flash * flash_mean) / np.maximum(1 - self.flash, 1e-6)
        shift = np.log(np.maximum(typical, 1e-3) / hard_mean)
        weight, middle, sigma, thin, thin_sigma = hard.parameters
        of_hard = weight * _normal(log_um - math.log(middle) - shift, math.hypot(sigma, spread))
        of_thin = (1 - weight) * _normal(log_um - math.log(thin) - shift, math.hypot(thin_sigma, spread))
        of_flash = _normal(log_um - math.log(flash.parameters[0]), math.hypot(flash.parameters[1], spread))
        return np.asarray(self.flash * of_flash + (1 - self.flash) * (of_hard + of_thin))


def updated(
    prior: PlatingAssumptions, evidence: Sequence[Evidence], pile: BoardKind | None = None
) -> PlatingAssumptions:
    """The plating of a lot after evidence.

    Args:
        prior: the plating before evidence.
        evidence: independent of each other, given the plating.
        pile: the kind, if its boards are of many designs.

    Raises:
        UsageError: ``evidence-impossible``: no value considered possible fits.
    """
    u = _even(_POINTS)
    thickness, flash = prior.thickness.at(u), prior.flash.at(u)
    picked = resampled(Where(np.log(thickness), flash, pile=pile), evidence, _KEPT)
    return replace(
        prior,
        thickness=Distribution("sample", tuple(float(f"{x:.5g}") for x in thickness[picked])),
        flash=Distribution("sample", tuple(float(f"{x:.4g}") for x in flash[picked])),
    )


def resampled(plating: Where, evidence: Sequence[Evidence], count: int) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Indices of the values to take, each in proportion to its weight after evidence, int (count,), rising.

    Raises:
        UsageError: ``evidence-impossible``.
    """
    log_weight = sum((e.log_likelihood(plating) for e in evidence), np.zeros(len(plating.log_um)))
    weight = np.exp(log_weight - log_weight.max())
    if not np.isfinite(weight).all() or weight.sum() ** 2 / (weight**2).sum() < 4:
        raise UsageError(
            "evidence-impossible",
            "What was stated or measured of the plating does not fit anything that is held possible.",
            "Check the figures and their units, and the kind of boards.",
        )
    at = np.searchsorted(np.cumsum(weight) / weight.sum(), (np.arange(count) + 0.5) / count)
    return np.minimum(at, len(weight) - 1)


def _normal(distance: FloatArray | float, spread: float) -> FloatArray:
    """Density of a normal number at a distance from its mean."""
    return np.asarray(np.exp(-0.5 * (np.asarray(distance) / spread) ** 2) / (spread * math.sqrt(2 * math.pi)))


def _even(n: int) -> FloatArray:
    return (np.arange(n) + 0.5) / n
