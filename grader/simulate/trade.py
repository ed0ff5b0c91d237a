"""A trade: the common truth of all lots that one buyer meets, so that the yield of one lot informs about the next.

The truth is drawn from the priors of the belief (``calibration.belief``) as the market has it: kinds of boards, each
part of them flash gold with the chance of its kind; sellers that vary about them; one process with its own recovery;
batches that scatter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calibration.arrays import FloatArray
from calibration.belief import Batch, Priors, WeighedPlating
from calibration.belief.density import effect, log_recovery, spread_of
from calibration.kinds import UNKNOWN, KindKey
from calibration.sourced import load_figures
from calibration.thickness import gold_properties
from grader.gold import MG_PER_MM2_UM_G_CM3
from grader.lot.observed import Observed, observed_in
from grader.lot.whole import whole_of
from grader.model import EMPTY
from grader.simulate.market import USUAL, InventedMarket
from grader.simulate.world import FINISH, InventedLot, World, offered, one, world_figures

_DRAWS = 2_000  # draws to estimate a spread


@dataclass(frozen=True)
class Trade:
    """Common properties of a buyer's lots; all of them are truth that he does not know.

    Attributes:
        mg_per_mm2: gold by plated area of each kind of board and seller.
        recovery: recovery of the process.
        batch_spread: spread of the logarithm of single batches about it.
        kinds: kind of boards of each part.
        picking: sellers that show their best boards.
    """

    mg_per_mm2: Mapping[tuple[str, str], float]
    recovery: float
    batch_spread: float
    kinds: Mapping[str, KindKey]
    picking: frozenset[str]

    @staticmethod
    def draw(priors: Priors, rng: np.random.Generator, market: InventedMarket = USUAL) -> Trade:
        """A trade in a market, drawn from the belief before any gold was weighed."""
        f = world_figures()

        def number(size: int = 1) -> FloatArray:
            return rng.standard_normal(size)

        plating = market.plating(priors, rng)
        kinds = [market.kind(rng) for _ in range(int(f["parts"]))]
        parts = [float(plating[kind].draw(rng.random(1))[0]) for kind in kinds]
        sellers = effect(spread_of(priors.seller, number()), number(int(f["sellers"])))[0]
        density, fraction = (one(i.distribution, rng) for i in gold_properties()[FINISH].inputs()[1:])
        per_um = MG_PER_MM2_UM_G_CM3 * density * fraction
        return Trade(
            {
                (f"part {p}", f"seller {s}"): per_um * math.exp(part + seller)
                for p, part in enumerate(parts)
                for s, seller in enumerate(sellers)
            },
            math.exp(float(log_recovery(priors, number())[0][0])),
            float(spread_of(priors.batch, number())[0]),
            {f"part {p}": kind for p, kind in enumerate(kinds)},
            frozenset(f"seller {s}" for s in range(len(sellers)) if rng.random() < market.picking),
        )

    def batch(self, rng: np.random.Generator) -> float:
        """Share of its gold that one batch recovers."""
        return self.recovery * math.exp(self.batch_spread * rng.standard_t(4))


@dataclass(frozen=True)
class TradedLot:
    """A lot of a trade.

    Attributes:
        lot: the lot on offer; ``seen`` holds published thickness.
        part: name of the boards.
        seller: who offers it.
        weighed_mg: the balance's reading if it is bought and stripped.
        test_mg: the balance's reading if only a few boards are.
        test_share: share of the lot that these few boards are.
        kind: kind of boards.
        chosen: whether the seller chose which boards to show, as far as the buyer knows.
        luck: gold that the batch of the few boards recovers ÷ gold that the lot's own batch would have recovered.
    """

    lot: InventedLot
    part: str
    seller: str
    weighed_mg: float
    test_mg: float
    test_share: float
    luck: float
    kind: KindKey = UNKNOWN
    chosen: bool = False

    @cached_property
    def observed(self) -> tuple[Observed, ...]:
        """Gold on the boards in its photos."""
        (part,) = self.lot.seen.parts
        return tuple(o for s in part.sights for o in observed_in(s.front, s.boards))

    def batch(self, share: float, weighed_mg: float, name: str, *, named: bool = False) -> Batch:
        """The batch to learn from, once some share of the lot was weighed; by then its boards have been counted.

        Args:
            share: share of the lot.
            weighed_mg: the balance's reading.
            name: name of the batch.
            named: whether the buyer knows the kind of boards.
        """
        (part,) = self.lot.seen.parts
        per_um = gold_properties()[FINISH].inputs()[1:]
        shown = [s.front.areas[FINISH].times(per_um, MG_PER_MM2_UM_G_CM3) for s in part.sights]
        boards = self.lot.boards * share
        whole, unseen_sd = whole_of(self.observed, boards)
        draws = sum(shown, EMPTY).draws(_DRAWS)
        sd = math.hypot(
            float(np.std(draws) / np.mean(draws)), unseen_sd, load_figures("belief")["fineness_found_sd"].value
        )
        equal = boards / part.boards_seen  # if all boards held as much as those seen
        middle, kind = float(np.median(draws)) * equal * whole, self.kind if named else UNKNOWN
        of_shown = min(1 / equal / whole, 1.0) if self.chosen else 1.0
        platings = [WeighedPlating(FINISH, middle * of_shown, self.part, self.seller, kind)]
        if of_shown < 1:
            platings.append(replace(platings[0], mg_per_um=middle * (1 - of_shown), picked=True))
        return Batch(name, tuple(platings), weighed_mg, load_figures("belief")["balance_uncertainty"].value, sd)


def offer(world: World, trade: Trade, name: str, rng: np.random.Generator) -> TradedLot:
    """One lot of a trade."""
    f, known = world_figures(), load_figures("belief")
    part, seller = f"part {rng.integers(int(f['parts']))}", f"seller {rng.integers(int(f['sellers']))}"
    own, test = trade.batch(rng), trade.batch(rng)
    kind, picks = trade.kinds[part], seller in trade.picking
    lot = offered(world, name, trade.mg_per_mm2[part, seller], own, world.properties(kind), rng, picks=picks)
    share = f["test_boards"] / lot.boards

    def shown(gold_mg: float) -> float:
        fineness = 1 + known["fineness_found_sd"].value * rng.standard_normal()
        return float(gold_mg * fineness + known["balance_uncertainty"].value * rng.standard_normal())

    weighed, tested = shown(lot.recovered_mg), shown(lot.gold_mg * test * share)
    return TradedLot(
        lot, part, seller, weighed, tested, share, test / own, kind, chosen=world.market.picked == "seller"
    )
