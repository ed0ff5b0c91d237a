"""Money: returns of each lot compared with its price."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from calibration.errors import GraderError
from grader.learn.compare import NO_NAME
from grader.learn.lots import Share, estimates_of, gold_model
from grader.learn.weighings import Weighing, weighings
from grader.log import Contents

_DRAWS = 2_000


@dataclass(frozen=True)
class Return:
    """The returns of some lots.

    Attributes:
        name: of the lot, the seller or the part.
        paid: money by currency, purchases of lots that gave a yield.
        fine_mg: fine gold weighed.
        lots: how many.
    """

    name: str
    paid: dict[str, Decimal]
    fine_mg: float
    lots: int = 1

    def paid_per_g(self) -> dict[str, float]:
        """Money paid for a gram of fine gold that came, by currency; empty if none came."""
        return {} if self.fine_mg <= 0 else {c: float(p) / (self.fine_mg * 1e-3) for c, p in self.paid.items()}


def returns(contents: Contents) -> tuple[Return, ...]:
    """Lots with a yield. Excluded yields count: the gold was weighed all the same.

    Gold of several lots together is apportioned by their estimates, or evenly where one of them has none.
    """
    fine: dict[int, float] = defaultdict(float)
    for weighing in weighings(contents):
        for lot_id, part in _apportioned(contents, weighing).items():
            fine[lot_id] += part
    found = []
    for lot in contents.lots:
        if lot.id in fine:
            paid: dict[str, Decimal] = defaultdict(Decimal)
            for purchase in contents.current_purchases():
                if purchase.lot_id == lot.id:
                    paid[purchase.currency] += purchase.price
            found.append(Return(lot.name, dict(paid), fine[lot.id]))
    return tuple(found)


def returns_by(contents: Contents, by: str) -> tuple[Return, ...]:
    """The same added up by ``seller`` or ``part``."""
    name_of: Callable[[str], str] = {
        lot.name: (lot.seller if by == "seller" else lot.part) or NO_NAME for lot in contents.lots
    }.__getitem__
    groups: dict[str, list[Return]] = defaultdict(list)
    for each in returns(contents):
        groups[name_of(each.name)].append(each)
    return tuple(_sum(name, groups[name]) for name in sorted(groups))


def _sum(name: str, some: Sequence[Return]) -> Return:
    paid: dict[str, Decimal] = defaultdict(Decimal)
    for each in some:
        for currency, price in each.paid.items():
            paid[currency] += price
    return Return(name, dict(paid), sum(r.fine_mg for r in some), len(some))


def _apportioned(contents: Contents, weighing: Weighing) -> dict[int, float]:
    fine = weighing.returned_mg
    if not weighing.shares:
        return {lot_id: fine / len(weighing.carried_lots) for lot_id in weighing.carried_lots}
    shares = [share for share, _ in weighing.shares]
    weights = [_expected(contents, s) for s in shares]
    if not all(weights):
        weights = [1.0] * len(shares)
    found: dict[int, float] = defaultdict(float)
    for s, w in zip(shares, weights, strict=True):
        found[s.lot.id] += fine * w / sum(weights)
    return found


def _expected(contents: Contents, part: Share) -> float:
    try:
        model = gold_model(estimates_of(contents, part.lot), part.copies)
    except GraderError:
        return 0.0
    return max(float(np.median(model.draws(_DRAWS))), 0.0)
