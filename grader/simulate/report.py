"""What each buyer earned, and how honest the ranges were."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from calibration.errors import UsageError
from calibration.scores import Share, share
from grader.simulate.buyers import BUYERS, Trial, appraise, best_rate_per_kg
from grader.simulate.world import World, invent

_LEAST_LOTS = 10
# Lots on which the buyer by weight has learned a price; none of them is offered to anybody.
_LEARNING_LOTS = 500


@dataclass(frozen=True)
class BuyerReport:
    """What one way to buy came to.

    Attributes:
        buyer: its name.
        bought: lots bought.
        profit: over all lots.
        share_of_oracle: of the profit that knowing the truth would have made; None where that is zero.
        losing: share of the buys that lost money; None where nothing was bought.
        regret: profit left on the table, a lot that was offered.
    """

    buyer: str
    bought: int
    profit: float
    share_of_oracle: float | None
    losing: Share | None
    regret: float

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        losing = self.losing
        return {
            "buyer": self.buyer,
            "bought": self.bought,
            "profit": self.profit,
            "share_of_oracle": self.share_of_oracle,
            "losing_share": None if losing is None else [losing.value, losing.low, losing.high],
            "regret_per_lot": self.regret,
        }


@dataclass(frozen=True)
class SimulationReport:
    """A whole run.

    Attributes:
        lots: offered.
        seed: of the run.
        accepted_loss: chance of a loss that was accepted.
        buyers: in the order of ``BUYERS``.
        in_range: share of the lots whose true gold lay in the tool's 90 % range.
        loss_at_highest: share of the lots that would have lost money if bought at the tool's own highest price.
        rate_per_kg: what the buyer by weight paid.
    """

    lots: int
    seed: int
    accepted_loss: float
    buyers: tuple[BuyerReport, ...]
    in_range: Share
    loss_at_highest: Share | None
    rate_per_kg: float

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        at = self.loss_at_highest
        return {
            "schema": 1,
            "lots": self.lots,
            "seed": self.seed,
            "accepted_loss": self.accepted_loss,
            "buyers": [b.as_json() for b in self.buyers],
            "gold_in_90_percent_range": [self.in_range.value, self.in_range.low, self.in_range.high],
            "loss_at_highest_price": None if at is None else [at.value, at.low, at.high],
            "rate_per_kg": self.rate_per_kg,
        }


def simulate(world: World, lots: int, seed: int, progress: Callable[[int], None] | None = None) -> SimulationReport:
    """Offer invented lots to all buyers.

    Args:
        world: what is the same for all lots.
        lots: how many.
        seed: the same run for the same seed.
        progress: called with the number of lots done.

    Raises:
        UsageError: ``lots-too-few``.
    """
    if lots < _LEAST_LOTS:
        raise UsageError("lots-too-few", f"{lots} lots say nothing.", f"Invent at least {_LEAST_LOTS}.")
    # numbers beyond those that are offered
    rate = best_rate_per_kg([invent(world, lots + n, seed) for n in range(_LEARNING_LOTS)])
    trials = list(_trials(world, lots, seed, rate, progress))
    oracle = sum(max(t.lot.profit(t.lot.asking), 0.0) for t in trials)
    positive = [t for t in trials if t.highest > 0]
    lost = sum(t.lot.loses(t.highest) for t in positive)
    held = sum(t.gold_mg.low <= t.lot.gold_mg <= t.gold_mg.high for t in trials)
    return SimulationReport(
        lots,
        seed,
        world.assumptions.accepted_loss,
        tuple(_of_buyer(name, trials, oracle) for name in BUYERS),
        share(held, lots),
        share(lost, len(positive)) if positive else None,
        rate,
    )


def _trials(
    world: World, lots: int, seed: int, rate: float, progress: Callable[[int], None] | None
) -> Iterator[Trial]:
    for number in range(lots):
        yield appraise(world, invent(world, number, seed), number, rate)
        if progress is not None:
            progress(number + 1)


def _of_buyer(name: str, trials: Sequence[Trial], oracle: float) -> BuyerReport:
    bought = [t.lot for t in trials if BUYERS[name](t)]
    profit = sum(lot.profit(lot.asking) for lot in bought)
    return BuyerReport(
        name,
        len(bought),
        profit,
        profit / oracle if oracle > 0 else None,
        share(sum(lot.loses(lot.asking) for lot in bought), len(bought)) if bought else None,
        (oracle - profit) / len(trials),
    )
