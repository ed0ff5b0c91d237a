"""What a weighed batch says, in the terms that the belief learns from, and what is held before any was weighed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from calibration.belief.maps import Curve, log_quantiles
from calibration.errors import UsageError
from calibration.inputs import Distribution
from calibration.sourced import load
from calibration.thickness import FINISHES, Finish, thickness_prior


@dataclass(frozen=True)
class WeighedPlating:
    """Plating of one finish on boards of one kind that went into a batch.

    Attributes:
        finish: of the plating.
        mg_per_um: gold if its effective thickness were 1 um: area × density × gold fraction; above 0.
        part: the boards' kind; boards without one are taken for one kind.
        seller: who sold them; likewise.
    """

    finish: Finish
    mg_per_um: float
    part: str = ""
    seller: str = ""


@dataclass(frozen=True)
class Batch:
    """Gold weighed from some plating.

    Attributes:
        name: tells batches apart.
        platings: what went in.
        mass_mg: fine gold weighed (mass × fineness).
        uncertainty_mg: standard uncertainty of the weighing, above 0.
        relative_sd: standard uncertainty of all that scales the batch: area, density, fineness; relative.
        process: number of the process; it rises at each marked change.

    Raises:
        UsageError: ``batch-invalid``.
    """

    name: str
    platings: tuple[WeighedPlating, ...]
    mass_mg: float
    uncertainty_mg: float
    relative_sd: float = 0.0
    process: int = 0

    def __post_init__(self) -> None:
        figures = (self.mass_mg, self.uncertainty_mg, self.relative_sd, *(p.mg_per_um for p in self.platings))
        sound = all(math.isfinite(x) for x in figures) and self.uncertainty_mg > 0 and self.relative_sd >= 0
        if not sound or not self.platings or any(p.mg_per_um <= 0 for p in self.platings) or self.process < 0:
            raise UsageError(
                "batch-invalid",
                f"Nothing can be learned from '{self.name}': it needs plated area, a mass and its uncertainty.",
                "Measure the boards' photos, and give the balance's uncertainty.",
            )


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
class Priors:
    """All that is held before any gold was weighed.

    Attributes:
        thickness: logarithm of a finish's typical thickness in um as a curve of a standard normal number.
        part: spread of parts about their finish.
        seller: spread of sellers, alike for all finishes.
        batch: spread of batches about what is expected of them.
        recovery_middle: median fraction recovered of a process.
        recovery_width: standard deviation of its logit.
    """

    thickness: Mapping[Finish, Curve]
    part: UncertainSpread
    seller: UncertainSpread
    batch: UncertainSpread
    recovery_middle: float
    recovery_width: float


def published_priors(thickness: Mapping[Finish, Distribution] | None = None) -> Priors:
    """The shipped priors.

    Args:
        thickness: in um, instead of the published ones for some finishes.
    """
    figures = load("belief")

    def spread(name: str) -> UncertainSpread:
        return UncertainSpread(figures[f"{name}_spread"].value, figures[f"{name}_spread_factor"].value)

    given = thickness or {}
    return Priors(
        {f: log_quantiles(given[f] if f in given else thickness_prior(f).distribution) for f in FINISHES},
        spread("part"),
        spread("seller"),
        spread("batch"),
        figures["recovery_middle"].value,
        figures["recovery_width"].value,
    )
