"""The pot: gold of several lots that was weighed and waits for one settlement.

What waits is the fine gold weighed from a lot, less what was delivered for settlements of it. Gold that was weighed
from several lots together is shared out by what was estimated of them, or evenly where one has no estimate. A sale of
gold is not told from one of anything else: gold that was sold otherwise than to a refiner is settled with the amount
of gold in it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import ROUND_DOWN, Decimal

from grader.learn.weighings import weighed_gold
from grader.log import Contents, NewMoney, Yield, checked
from grader.table import Table
from grader.units import MassUnit, format_mass

TITLE = "Gold that waits for a settlement"
NOTE = (
    "Fine gold as weighed, less what was delivered for settlements. Gold of several lots together is shared out by "
    "their estimates, or evenly where one has none."
)
_SPENT = 0.005  # of what was weighed: less than this is what balances and assays differ by
_CENT = Decimal("0.01")


@dataclass(frozen=True)
class WaitingGold:
    """Gold of one lot.

    Attributes:
        lot_id: the lot.
        name: its name.
        weighed_mg: fine gold weighed in all.
        delivered_mg: for settlements.
        since: the day of the first weighing.
        is_fineness_known: whether the fineness of all of it is; otherwise the usual one counts.
    """

    lot_id: int
    name: str
    weighed_mg: float
    delivered_mg: float
    since: date
    is_fineness_known: bool

    @property
    def waiting_mg(self) -> float:
        """What is left; not below zero."""
        return max(self.weighed_mg - self.delivered_mg, 0.0)


def waiting_gold(contents: Contents) -> tuple[WaitingGold, ...]:
    """Lots with gold that waits, in the order of the lots.

    A settlement of a lot that does not say how much gold was delivered settles all that was weighed until its day.
    """
    shares = {y.id: _shares(contents, y) for y in contents.current_yields()}
    found = []
    for lot in contents.lots:
        its = [(y, shares[y.id][lot.id]) for y in contents.current_yields() if lot.id in shares[y.id]]
        if not its:
            continue
        weighed = [(y.weighed_on, share * y.mass_mg * weighed_gold(y).fineness) for y, share in its]
        known = all(y.fineness is not None for y, _ in its)
        total = sum(mg for _, mg in weighed)
        delivered = _delivered(contents, lot.id, weighed)
        gold = WaitingGold(lot.id, lot.name, total, delivered, min(day for day, _ in weighed), known)
        if gold.waiting_mg > _SPENT * total:
            found.append(gold)
    return tuple(found)


def _delivered(contents: Contents, lot_id: int, weighed: Sequence[tuple[date, float]]) -> float:
    delivered = 0.0
    for entry in sorted(contents.current_money(), key=lambda m: (m.day, m.id)):
        if entry.lot_id != lot_id or entry.kind != "settlement":
            continue
        if entry.gold_mg is not None:
            delivered += entry.gold_mg
        elif entry.amount or entry.charges:
            delivered = max(delivered, sum(mg for day, mg in weighed if day <= entry.day))
    return delivered


def _shares(contents: Contents, gold: Yield) -> dict[int, float]:
    """The part of each lot in a yield; they add up to one."""
    copies = {each.lot_id: each.copies for each in contents.yield_lots if each.yield_id == gold.id}
    if not copies:
        return {gold.lot_id: 1.0}
    expected: dict[int, float] = defaultdict(float)
    for estimate in contents.latest_estimates():
        value = estimate.measured.gold_mg
        if estimate.lot_id in copies and value is not None:
            expected[estimate.lot_id] += copies[estimate.lot_id] * value.value
    weights = expected if set(expected) == set(copies) and all(expected.values()) else dict.fromkeys(copies, 1.0)
    total = sum(weights.values())
    return {lot_id: weight / total for lot_id, weight in weights.items()}


def split_settlement(new: NewMoney, pot: Sequence[WaitingGold]) -> Mapping[int, NewMoney]:
    """One settlement shared out to lots by the gold of them that waits; the shares add up to the cent.

    Args:
        new: of all of them, with the gold delivered or without.
        pot: the lots, each with gold that waits.

    Returns:
        An entry for each lot, by its number; its gold is the lot's part of what was delivered.
    """
    total = sum(gold.waiting_mg for gold in pot)
    parts = [gold.waiting_mg / total for gold in pot]
    amounts, charges = (_split(amount, parts) for amount in (new.amount, new.charges))
    delivered = total if new.gold_mg is None else new.gold_mg
    note = "; ".join(text for text in (new.note, f"pot of {len(pot)} lots") if text)
    return {
        gold.lot_id: checked(
            NewMoney,
            **{
                **new.model_dump(),
                "amount": amount,
                "charges": charge,
                "gold_mg": part * delivered,
                "note": note if len(pot) > 1 else new.note,
            },
        )
        for gold, amount, charge, part in zip(pot, amounts, charges, parts, strict=True)
    }


def _split(amount: Decimal, parts: Sequence[float]) -> list[Decimal]:
    """Parts of an amount, to the cent or as finely as it is given; what rounding leaves goes to the largest."""
    finest = Decimal(1).scaleb(min(int(amount.as_tuple().exponent), int(_CENT.as_tuple().exponent)))
    found = [(amount * Decimal(repr(part))).quantize(finest, ROUND_DOWN) for part in parts]
    largest = max(range(len(parts)), key=lambda i: parts[i])
    found[largest] += amount - sum(found)
    return found


def waiting_gold_table(pot: Sequence[WaitingGold], liked: MassUnit = "auto") -> Table:
    """A row for each lot, and one for all."""
    rows = [
        (
            gold.name,
            gold.since.isoformat(),
            format_mass(gold.weighed_mg, liked=liked) + ("" if gold.is_fineness_known else ", fineness unknown"),
            format_mass(gold.delivered_mg, liked=liked) if gold.delivered_mg else "",
            format_mass(gold.waiting_mg, liked=liked),
        )
        for gold in pot
    ]
    if len(pot) > 1:
        rows.append(("all", "", "", "", format_mass(sum(gold.waiting_mg for gold in pot), liked=liked)))
    return Table(("Lot", "Since", "Weighed, fine", "Delivered", "Waits"), tuple(rows), TITLE)
