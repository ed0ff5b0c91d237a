"""Weighed batches in the terms that the belief learns from, and the priors before any batch was weighed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from calibration.belief.families import published_families
from calibration.belief.maps import Curve, log_quantiles
from calibration.belief.parts import FamilyPrior, UncertainSpread
from calibration.distributions import Distribution
from calibration.errors import UsageError
from calibration.kinds import UNKNOWN, KindKey
from calibration.sourced import load_figures
from calibration.thickness import Finish


@dataclass(frozen=True)
class WeighedPlating:
    """Plating of one finish on boards of one kind that went into a batch.

    Attributes:
        finish: finish of the plating.
        mg_per_um: gold if its effective thickness were 1 um: area × density × gold fraction; above 0.
        part: the boards' name; boards without a name are treated as a part of their own.
        seller: who sold them; boards without a seller are treated as sold by one seller.
        kind: kind of boards; it decides what is assumed about a part that was never weighed.
        picked: whether the seller chose the boards to photograph, and these were not among them.
    """

    finish: Finish
    mg_per_um: float
    part: str = ""
    seller: str = ""
    kind: KindKey = UNKNOWN
    picked: bool = False


@dataclass(frozen=True)
class Batch:
    """Gold weighed from some plating.

    Attributes:
        name: identifies the batch.
        platings: the platings that went in.
        mass_mg: fine gold weighed (mass × fineness).
        uncertainty_mg: standard uncertainty of the weighing, above 0.
        relative_sd: relative standard uncertainty of all that scales the batch: area, density, fineness.
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
class Priors:
    """Everything assumed before any gold was weighed.

    Attributes:
        families: parts of each finish and kind of boards; where a finish lacks a kind, those of the unknown kind.
        seller: spread of sellers, the same for all finishes.
        batch: spread of batches about their expected gold.
        recovery_middle: median of the fraction that a process recovers.
        recovery_width: standard deviation of its logit.
        picked: for each seller, the logarithm of gold on boards that were not shown ÷ on those that the seller chose
            to show, as a curve of a standard normal number.
    """

    families: Mapping[tuple[Finish, KindKey], FamilyPrior]
    seller: UncertainSpread
    batch: UncertainSpread
    recovery_middle: float
    recovery_width: float
    picked: Curve

    def family_of(self, finish: Finish, kind: KindKey) -> tuple[Finish, KindKey]:
        """Key of the family that a part belongs to."""
        return (finish, kind) if (finish, kind) in self.families else (finish, UNKNOWN)


def published_priors(thickness: Mapping[Finish, Distribution] | None = None) -> Priors:
    """The shipped priors.

    Args:
        thickness: thickness in um that replaces the published one for some finishes, whatever the kind of boards.
    """
    figures = load_figures("belief")

    def spread(name: str) -> UncertainSpread:
        return UncertainSpread(figures[f"{name}_spread"].value, figures[f"{name}_spread_factor"].value)

    picked = tuple(figures[f"picked_{at}"].value for at in ("low", "mode", "high"))
    return Priors(
        published_families(thickness or {}),
        spread("seller"),
        spread("batch"),
        figures["recovery_middle"].value,
        figures["recovery_width"].value,
        log_quantiles(Distribution("triangular", picked)),
    )
