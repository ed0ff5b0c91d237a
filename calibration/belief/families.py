"""The families of the belief, from published figures of each finish and kind of boards."""

from __future__ import annotations

import math
from collections.abc import Mapping

from calibration.belief.maps import Curve, log_quantiles, narrowed, normal_quantity, spread_of_curve
from calibration.belief.parts import Component, FamilyPrior, UncertainSpread
from calibration.distributions import Distribution
from calibration.finishes import HARD_GOLD, UNDETERMINED
from calibration.kinds import KINDS_OF_BOARDS, UNKNOWN, BoardKind, KindKey, board_kind
from calibration.sourced import load_figures
from calibration.thickness import FINISHES, Finish, thickness_prior

_LEAST = 1e-9  # of a spread


def published_families(given: Mapping[Finish, Distribution]) -> dict[tuple[Finish, KindKey], FamilyPrior]:
    """Families of every finish; those of edge contacts by kind of boards.

    Args:
        given: thickness in um of one design that replaces the published one for some finishes.
    """
    found: dict[tuple[Finish, KindKey], FamilyPrior] = {}
    unknown = board_kind(UNKNOWN)
    for finish in FINISHES:
        if finish in given:
            found[finish, UNKNOWN] = family_of(given[finish], unknown.typical_sd_log)
        elif finish == HARD_GOLD:
            found |= {(finish, key): of_kind(board_kind(key)) for key in KINDS_OF_BOARDS}
        elif finish == UNDETERMINED:
            found[finish, UNKNOWN] = either(thickness_prior(finish).distribution, unknown)
        else:
            found[finish, UNKNOWN] = family_of(thickness_prior(finish).distribution, unknown.typical_sd_log)
    return found


def of_kind(kind: BoardKind) -> FamilyPrior:
    """The family of a kind's contacts: hard gold to a specification, thin hard gold, and flash gold."""
    weight, median, sigma, thin_median, thin_sigma = kind.hard.parameters
    flash_median, flash_sigma = kind.flash.parameters
    chance, sd_logit = kind.flash_share.parameters
    return FamilyPrior(
        (
            _component(median, sigma, kind.typical_sd_log, weight),
            _component(thin_median, thin_sigma, kind.typical_sd_log, 1 - weight),
            _component(flash_median, flash_sigma, kind.typical_sd_log, flash=True),
        ),
        normal_quantity(math.log(chance / (1 - chance)), sd_logit),
    )


def either(thickness: Distribution, pooled: BoardKind) -> FamilyPrior:
    """The family of plating that could be hard gold or flash gold.

    Args:
        thickness: thickness of one design, um: a mixture of hard gold and flash gold.
        pooled: kind of boards that determines how well typical thickness and share are known.
    """
    chance, median, sigma, flash_median, flash_sigma = thickness.parameters
    return FamilyPrior(
        (
            _component(median, sigma, pooled.typical_sd_log),
            _component(flash_median, flash_sigma, pooled.typical_sd_log, flash=True),
        ),
        normal_quantity(math.log((1 - chance) / chance), pooled.flash_share.parameters[1]),
    )


def family_of(thickness: Distribution, typical_sd_log: float) -> FamilyPrior:
    """A family of one component, or of two with fixed shares, whose parts together have the given distribution.

    Args:
        thickness: thickness of one design, um.
        typical_sd_log: the part of the spread of its logarithm that all parts share; never more than half of the
            variance.
    """
    if thickness.kind == "lognormal_mixture":
        weight, median, sigma, other, other_sigma = thickness.parameters
        return FamilyPrior(
            (
                _component(median, sigma, typical_sd_log, weight),
                _component(other, other_sigma, typical_sd_log, 1 - weight),
            )
        )
    curve = log_quantiles(thickness)
    whole = spread_of_curve(curve)
    typical = _typical(whole, typical_sd_log)
    return FamilyPrior((Component(narrowed(curve, typical / whole if whole else 0.0), _spread(whole, typical)),))


def _component(
    median: float, sigma: float, typical_sd_log: float, weight: float = 1.0, *, flash: bool = False
) -> Component:
    typical = _typical(sigma, typical_sd_log)
    return Component(_middle(median, typical), _spread(sigma, typical), weight, flash)


def _middle(median: float, typical: float) -> Curve:
    return normal_quantity(math.log(median), typical)


def _typical(whole: float, typical_sd_log: float) -> float:
    return min(typical_sd_log, whole / math.sqrt(2))


def _spread(whole: float, typical: float) -> UncertainSpread:
    """Remaining spread of parts about their typical thickness; as a median, known to a factor."""
    rest = max(math.sqrt(max(whole**2 - typical**2, 0.0)), _LEAST)
    return UncertainSpread(rest, load_figures("belief")["part_spread_factor"].value)
