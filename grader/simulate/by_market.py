"""Buyers in a market: untaught, with and without the kind of boards named, and after six weighed lots; on equal lots.

In each trade of a market (``grader.simulate.trade``) six lots are weighed, whoever bought them, and then some others
are offered. This shows, on equal lots, the worth of naming the kind and the worth of weighing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np

from calibration.belief import Belief, learn
from calibration.errors import UsageError
from calibration.scores import HitRate
from grader.simulate.buyers import BREAK_EVEN, BY_GAINS, HIGHEST, MANY_LOTS, ORACLE, Buyer, Trial, appraise
from grader.simulate.learning import taught
from grader.simulate.market import InventedMarket
from grader.simulate.tally import BuyerReport, Decision, buyer_report, grouped, share_json
from grader.simulate.trade import Trade, TradedLot, offer
from grader.simulate.world import InventedLot, World, reappraised
from grader.valuation import Assumptions, with_given

WEIGHED = 6
STATES = ("untaught, kind not named", "untaught, kind named", f"after {WEIGHED} weighed lots")
_BUYERS = (HIGHEST, MANY_LOTS, BY_GAINS, BREAK_EVEN, ORACLE)
_LEAST = 2


@dataclass(frozen=True)
class StateReport:
    """Buyers with the same knowledge.

    Attributes:
        name: one of ``STATES``.
        buyers: result of each buyer; the last is the oracle.
        in_range: share of the lots whose gold lay in the 90 % range.
    """

    name: str
    buyers: tuple[BuyerReport, ...]
    in_range: HitRate

    @property
    def loss_at_highest(self) -> HitRate | None:
        """Share of the lots that would lose if bought at the tool's highest price; None if no lot has one."""
        return self.buyers[0].loss_at_limit


@dataclass(frozen=True)
class MarketReport:
    """Results for a market.

    Attributes:
        market: the market.
        trades: number of truths that were drawn.
        lots: number of lots offered in each.
        seed: seed of the run.
        accepted_loss: accepted chance of a loss.
        states: in the order of ``STATES``.
    """

    market: InventedMarket
    trades: int
    lots: int
    seed: int
    accepted_loss: float
    states: tuple[StateReport, ...]

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "schema": 1,
            "market": self.market.name,
            "trades": self.trades,
            "lots": self.lots,
            "seed": self.seed,
            "accepted_loss": self.accepted_loss,
            "states": [
                {
                    "state": s.name,
                    "buyers": [b.as_json() for b in s.buyers],
                    "gold_in_90_percent_range": share_json(s.in_range),
                }
                for s in self.states
            ],
        }


def simulate_market(
    assumptions: Assumptions,
    market: InventedMarket,
    trades: int,
    lots: int,
    seed: int,
    progress: Callable[[int], None] | None = None,
    *,
    all_shown: bool = False,
) -> MarketReport:
    """Offer the lots of some trades of a market to buyers who know more or less about them.

    Args:
        assumptions: the buyers' money; the market's terms are applied on top.
        market: the market that offers the lots.
        trades: number of truths.
        lots: number of lots offered in each, after those that were weighed.
        seed: the same seed gives the same run.
        progress: called with the number of trades done.
        all_shown: whether photos show every board.

    Raises:
        UsageError: ``lots-too-few``.
    """
    if trades < _LEAST or lots < 1:
        raise UsageError(
            "lots-too-few",
            f"{trades} trades of {lots} lots are too few to show anything.",
            f"Invent at least {_LEAST} trades of one lot.",
        )
    if market.terms:
        terms: dict[str, Any] = dict(market.terms)
        assumptions = with_given(assumptions, **terms)
    named = World(assumptions, market=market, named=True, all_shown=all_shown)
    unnamed = replace(named, named=False)
    trials: tuple[list[list[Trial]], ...] = tuple([] for _ in STATES)
    held: tuple[list[list[bool]], ...] = tuple([] for _ in STATES)
    for number in range(trades):
        rng = np.random.default_rng([seed, number])
        trade = Trade.draw(named.priors, rng, market)
        offers = [offer(named, trade, f"{number}-{n}", rng) for n in range(WEIGHED + lots)]
        weighed = [o.batch(1.0, o.weighed_mg, str(n), named=True) for n, o in enumerate(offers[:WEIGHED])]
        belief = learn(weighed, priors=named.priors)
        views: tuple[Callable[[TradedLot], InventedLot], ...] = (
            partial(_unnamed, unnamed),
            _as_offered,
            partial(_taught, named, belief, offers[:WEIGHED]),
        )
        for state, view in enumerate(views):
            met = [appraise(assumptions, view(o), n).trial for n, o in enumerate(offers[WEIGHED:])]
            trials[state].append(met)
            truth = [o.lot.recovered_mg if state == len(STATES) - 1 else o.lot.gold_mg for o in offers[WEIGHED:]]
            held[state].append([t.gold_mg.low <= mg <= t.gold_mg.high for t, mg in zip(met, truth, strict=True)])
        if progress is not None:
            progress(number + 1)
    accepted = assumptions.accepted_loss
    states = tuple(
        StateReport(name, _reports(met, accepted), grouped(inside) or HitRate(0, 0, 0.0, 0.0, 1.0))
        for name, met, inside in zip(STATES, trials, held, strict=True)
    )
    return MarketReport(market, trades, lots, seed, accepted, states)


def _unnamed(world: World, offered: TradedLot) -> InventedLot:
    return replace(offered.lot, seen=reappraised(offered.lot.seen, world.properties(offered.kind)))


def _as_offered(offered: TradedLot) -> InventedLot:
    return offered.lot


def _taught(world: World, belief: Belief, weighed: Sequence[TradedLot], offered: TradedLot) -> InventedLot:
    return taught(world, offered, belief, weighed)


def _reports(trials: Sequence[Sequence[Trial]], accepted: float) -> tuple[BuyerReport, ...]:
    oracle = sum(max(t.lot.profit(t.lot.asking), 0.0) for group in trials for t in group)
    return tuple(buyer_report(b.name, _decisions(b, trials, accepted), oracle) for b in _BUYERS)


def _decisions(buyer: Buyer, trials: Sequence[Sequence[Trial]], accepted: float) -> list[list[Decision]]:
    decide = buyer.starts(accepted)
    return [[Decision.of(buyer, t, bought=decide(t)) for t in group] for group in trials]
