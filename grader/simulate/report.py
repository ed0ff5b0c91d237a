"""Profit of each buyer, and honesty of the ranges."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.errors import UsageError
from calibration.scores import HitRate, share
from grader.simulate.buyers import BUYERS, Buyer, Trial, appraise, best_rate_per_kg
from grader.simulate.tally import BuyerReport, Decision, buyer_report, share_json
from grader.simulate.world import World, invent_lot

_LEAST_LOTS = 10
# Lots from which the buyer by weight has learned a price; they are not offered to anyone.
_LEARNING_LOTS = 500


@dataclass(frozen=True)
class SimulationReport:
    """A whole run.

    Attributes:
        lots: number of lots offered.
        seed: seed of the run.
        accepted_loss: accepted chance of a loss.
        buyers: in the order of ``BUYERS``.
        in_range: share of the lots whose true gold lay in the tool's 90 % range.
        rate_per_kg: price per kilogram that the buyer by weight paid.
    """

    lots: int
    seed: int
    accepted_loss: float
    buyers: tuple[BuyerReport, ...]
    in_range: HitRate
    rate_per_kg: float

    @property
    def loss_at_highest(self) -> HitRate | None:
        """Share of the lots that would have lost money if bought at the tool's own highest price."""
        return self.buyers[0].loss_at_limit

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "schema": 1,
            "lots": self.lots,
            "seed": self.seed,
            "accepted_loss": self.accepted_loss,
            "buyers": [b.as_json() for b in self.buyers],
            "gold_in_90_percent_range": share_json(self.in_range),
            "loss_at_highest_price": share_json(self.loss_at_highest),
            "rate_per_kg": self.rate_per_kg,
        }


def simulate(world: World, lots: int, seed: int, progress: Callable[[int], None] | None = None) -> SimulationReport:
    """Offer invented lots, each of a kind of its own, to all buyers.

    Args:
        world: settings common to all lots.
        lots: number of lots.
        seed: the same seed gives the same run.
        progress: called with the number of lots done.

    Raises:
        UsageError: ``lots-too-few``.
    """
    if lots < _LEAST_LOTS:
        raise UsageError(
            "lots-too-few", f"{lots} lots are too few to show anything.", f"Invent at least {_LEAST_LOTS}."
        )
    # numbers beyond those of the lots on offer
    rate = best_rate_per_kg([invent_lot(world, lots + n, seed) for n in range(_LEARNING_LOTS)])
    trials = []
    for number in range(lots):
        trials.append(appraise(world.assumptions, invent_lot(world, number, seed), number, rate).trial)
        if progress is not None:
            progress(number + 1)
    accepted = world.assumptions.accepted_loss
    oracle = sum(max(t.lot.profit(t.lot.asking), 0.0) for t in trials)
    held = sum(t.gold_mg.low <= t.lot.gold_mg <= t.gold_mg.high for t in trials)
    # each lot is a separate case
    reports = (buyer_report(b.name, [[step] for step in _steps(b, trials, accepted)], oracle) for b in BUYERS)
    return SimulationReport(lots, seed, accepted, tuple(reports), share(held, lots), rate)


def _steps(buyer: Buyer, trials: Sequence[Trial], accepted: float) -> list[Decision]:
    decide = buyer.starts(accepted)
    return [Decision.of(buyer, t, bought=decide(t)) for t in trials]
