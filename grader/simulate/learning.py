"""Buyers that start at the published range of thickness and learn from each lot that they weigh.

Each trade is a different truth (``grader.simulate.trade``), met lot by lot. A buyer decides by his belief that day.
He strips and weighs what he buys, and the belief (``calibration.belief``) learns from it, just as the log's newest
belief does. Before a kind of board was ever weighed he may buy a few boards of a lot, strip and weigh them, and only
then decide, if knowing the thickness is worth more to him than the test costs. All of this is part of his profit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from calibration.belief import Batch, Belief, Priors, learn, published_priors
from calibration.errors import UsageError
from calibration.kinds import UNKNOWN
from calibration.scores import HitRate
from calibration.thickness import THICKNESS, gold_properties
from grader.simulate.buyers import BREAK_EVEN, BY_GAINS, DRAWS, HIGHEST, MANY_LOTS, ORACLE, Appraisal, Buyer, appraise
from grader.simulate.tally import BuyerReport, Decision, buyer_report, grouped, share_json
from grader.simulate.trade import Trade, TradedLot, offer
from grader.simulate.world import FINISH, InventedLot, World, reappraised, world_figures
from grader.valuation.information import value_of_knowing

_LEAST = 2
_STAGES = (10, 20)  # last lot of each of the first stages of a trade


@dataclass(frozen=True)
class Learner:
    """A buyer in a trade.

    Attributes:
        buyer: how he decides.
        learns: whether weighed lots teach him.
    """

    buyer: Buyer
    learns: bool = True

    @property
    def name(self) -> str:
        """Name for reports."""
        return self.buyer.name if self.learns or self.buyer is ORACLE else f"{self.buyer.name}, never learning"


LEARNERS = (
    Learner(HIGHEST),
    Learner(MANY_LOTS),
    Learner(BY_GAINS),
    Learner(BREAK_EVEN),
    Learner(HIGHEST, learns=False),
    Learner(MANY_LOTS, learns=False),
    Learner(BY_GAINS, learns=False),
    Learner(BREAK_EVEN, learns=False),
    Learner(ORACLE, learns=False),
)
"""The last is what no buyer can be."""


@dataclass(frozen=True)
class LearningStage:
    """Some lots of every trade.

    Attributes:
        first: number of the first lot in its trade, from 1.
        last: number of the last lot.
        buyers: in the order of ``LEARNERS``.
    """

    first: int
    last: int
    buyers: tuple[BuyerReport, ...]


@dataclass(frozen=True)
class LearningReport:
    """A whole run.

    Attributes:
        trades: number of trades.
        lots: number of lots offered in each.
        seed: seed of the run.
        accepted_loss: accepted chance of a loss.
        whole: all lots.
        stages: from the first lots to the last.
        in_range: share of the lots whose gold lay in the 90 % range of the first learner.
    """

    trades: int
    lots: int
    seed: int
    accepted_loss: float
    whole: LearningStage
    stages: tuple[LearningStage, ...]
    in_range: HitRate

    def as_json(self) -> dict[str, Any]:
        """The form used in reports."""
        return {
            "schema": 1,
            "trades": self.trades,
            "lots": self.lots,
            "seed": self.seed,
            "accepted_loss": self.accepted_loss,
            "buyers": [b.as_json() for b in self.whole.buyers],
            "stages": [
                {"first": s.first, "last": s.last, "buyers": [b.as_json() for b in s.buyers]} for s in self.stages
            ],
            "gold_in_90_percent_range": share_json(self.in_range),
        }


def simulate_learning(
    world: World, trades: int, lots: int, seed: int, progress: Callable[[int], None] | None = None
) -> LearningReport:
    """Offer the lots of some trades to buyers that learn, and to some that do not.

    Args:
        world: settings common to all trades; ``learned`` has no meaning here.
        trades: number of trades.
        lots: number of lots of each.
        seed: the same seed gives the same run.
        progress: called with the number of trades done.

    Raises:
        UsageError: ``lots-too-few``.
    """
    if min(trades, lots) < _LEAST:
        raise UsageError(
            "lots-too-few",
            f"{trades} trades of {lots} lots are too few to show anything.",
            f"Invent at least {_LEAST} of each.",
        )
    priors = published_priors()
    paths: list[list[list[Decision]]] = [[] for _ in LEARNERS]
    held: list[list[bool]] = []
    for number in range(trades):
        rng = np.random.default_rng([seed, number])
        trade = Trade.draw(priors, rng, world.market)
        offers = [offer(world, trade, f"{number}-{n}", rng) for n in range(lots)]
        published = [appraise(world.assumptions, o.lot, n) for n, o in enumerate(offers)]
        for path, learner in zip(paths, LEARNERS, strict=True):
            walk = _Walk(world, learner, priors)
            path.append([walk.meet(o, n, published[n], lots - n) for n, o in enumerate(offers)])
            if learner is LEARNERS[0]:
                held.append(walk.held)
        if progress is not None:
            progress(number + 1)
    ends = [*(end for end in _STAGES if end < lots), lots]
    return LearningReport(
        trades,
        lots,
        seed,
        world.assumptions.accepted_loss,
        _stage(paths, 1, lots),
        tuple(_stage(paths, first + 1, last) for first, last in zip([0, *ends], ends, strict=False)),
        grouped(held) or HitRate(0, 0, 0.0, 0.0, 1.0),
    )


def taught(world: World, offered: TradedLot, belief: Belief, met: Iterable[TradedLot] = ()) -> InventedLot:
    """A lot as a buyer sees it with what he has learned.

    Args:
        world: settings common to all lots.
        offered: the lot.
        belief: belief from the weighed lots.
        met: the weighed lots.
    """
    earlier = [o.observed for o in met if o.part == offered.part]
    kind = offered.kind if world.named else UNKNOWN
    learned = gold_properties(belief.inputs(offered.part, offered.seller, kind=kind))[FINISH]
    picking = belief.picking(offered.lot.seen.parts[0].name, offered.seller)
    return replace(offered.lot, seen=reappraised(offered.lot.seen, learned, picking, earlier))


def _stage(paths: Sequence[Sequence[Sequence[Decision]]], first: int, last: int) -> LearningStage:
    cut = [[trade[first - 1 : last] for trade in path] for path in paths]
    oracle = sum(step.profit for trade in cut[-1] for step in trade)
    reports = (buyer_report(who.name, path, oracle) for who, path in zip(LEARNERS, cut, strict=True))
    return LearningStage(first, last, tuple(reports))


class _Walk:
    """One buyer going through a trade."""

    def __init__(self, world: World, learner: Learner, priors: Priors) -> None:
        self.world = world
        self.learner = learner
        self.priors = priors
        self.decide = learner.buyer.starts(world.assumptions.accepted_loss)
        self.batches: list[Batch] = []
        self.bought: list[TradedLot] = []
        self.belief: Belief | None = None
        self.held: list[bool] = []

    def meet(self, offered: TradedLot, number: int, published: Appraisal, left: int) -> Decision:
        """Decide on a lot, buy and learn.

        Args:
            offered: the lot.
            number: number of the lot in its trade.
            published: the tool's appraisal before anything was weighed.
            left: number of lots from here on.
        """
        appraisal = published if self.belief is None else self.appraise(offered, number, self.belief)
        gold = appraisal.trial.gold_mg
        truth = offered.lot.gold_mg if self.belief is None else offered.lot.recovered_mg
        self.held.append(gold.low <= truth <= gold.high)
        bought = self.decide(appraisal.trial)
        step = Decision.of(self.learner.buyer, appraisal.trial, bought=bought)
        if not self.learner.learns:
            return step
        if bought:
            self.bought.append(offered)
            self.weigh(self.batch(offered, 1.0, offered.weighed_mg, f"{number}"))
        elif self.would_test(offered, appraisal, number, left):
            step = self.test(offered, step, number)
        return step

    def appraise(self, offered: TradedLot, number: int, belief: Belief) -> Appraisal:
        """The tool's appraisal by the present belief."""
        return appraise(self.world.assumptions, taught(self.world, offered, belief, self.bought), number)

    def batch(self, offered: TradedLot, share: float, weighed_mg: float, name: str) -> Batch:
        """The batch that he learns from."""
        return offered.batch(share, weighed_mg, name, named=self.world.named)

    def would_test(self, offered: TradedLot, appraisal: Appraisal, number: int, left: int) -> bool:
        """Whether a test is worth its cost, for this lot and those that he has in mind."""
        if any(p.part == offered.part for b in self.batches for p in b.platings):
            return False
        money, price, share = appraisal.money, offered.lot.asking, offered.test_share
        profit = money.profit(price)
        thickness = [
            i.draws(DRAWS, number)
            for s in appraisal.trial.lot.seen.parts[0].sights[:1]
            for i in s.front.gold.inputs.values()
            if i.kind == THICKNESS
        ]
        # as things stand he would leave the lot, so that everything he could then expect from it is a gain
        gain = value_of_knowing([profit], thickness) + max(float(profit.mean()), 0.0)
        brings = float(money.proceeds.mean()) * share
        cost = float(money.costs.mean()) + price * share * float(money.load.mean()) - brings
        return gain * min(left, world_figures()["lots_ahead"]) > cost

    def test(self, offered: TradedLot, step: Decision, number: int) -> Decision:
        """Buy a few boards, with all costs of a separate lot; then take the others, or leave them."""
        lot, share = offered.lot, offered.test_share
        self.bought.append(offered)
        belief = self.weigh(self.batch(offered, share, offered.test_mg, f"{number} test"), at_once=True)
        bought = self.decide(self.appraise(offered, number, belief).trial)
        if bought:
            rest = 1.0 - share
            self.weigh(self.batch(offered, rest, offered.weighed_mg * rest, f"{number}"))
            profit = lot.profit(lot.asking) - lot.costs
        else:
            profit = share * (lot.proceeds * offered.luck - lot.asking * lot.load) - lot.costs
        return Decision(lot, bought, profit, step.limit, tested=True)

    def weigh(self, batch: Batch, *, at_once: bool = False) -> Belief:
        """Learn from the balance's reading."""
        self.batches.append(batch)
        count = len(self.batches)
        if self.belief is None or at_once or count <= world_figures()["learned_at_once"] or count % 4 == 0:
            self.belief = learn(self.batches, priors=self.priors)
        return self.belief
