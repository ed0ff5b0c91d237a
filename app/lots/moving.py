"""Move entries of one of the log's lots to another: each is corrected to belong to it, so that nothing is lost.

The log only grows: the earlier entries stay in it, and can take their place again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.errors import UsageError
from grader.log import Contents, Log, LoggedLot, Yield


@dataclass(frozen=True)
class Moved:
    """Numbers of the entries that were written in place of a lot's own.

    Attributes:
        of: number of the lot to which they belonged.
        to: number of the lot to which they belong now.
        purchases: numbers of purchases.
        money: of costs, sales and settlements.
        yields: of weighed gold.
    """

    of: int
    to: int
    purchases: tuple[int, ...] = ()
    money: tuple[int, ...] = ()
    yields: tuple[int, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """A JSON object that ``from_json`` reads back."""
        return {name: list(v) if isinstance(v, tuple) else v for name, v in self.__dict__.items()}

    @staticmethod
    def from_json(kept: Mapping[str, Any]) -> Moved:
        """The inverse of ``as_json``."""
        lists = {name: tuple(map(int, kept[name])) for name in ("purchases", "money", "yields")}
        return Moved(int(kept["of"]), int(kept["to"]), **lists)

    @property
    def count(self) -> int:
        """Number of entries."""
        return len(self.purchases) + len(self.money) + len(self.yields)


def move_entries(log: Log, of: LoggedLot, to: LoggedLot) -> Moved:
    """Let the costs, proceeds and yields of a lot count for another one.

    Raises:
        UsageError: ``lots-both-kept``: its boards went into a batch, whose record names the lot.
    """
    contents = log.contents()
    if any(each.lot_id == of.id for each in contents.batches.load_lots) or any(
        contents.batch_of(gold) is not None for gold in _yields_of(contents, of.id)
    ):
        raise UsageError(
            "lots-both-kept",
            f"Boards of {of.name} went into a batch, and its record names the lot.",
            "Go on with the two of them.",
        )
    return _move(log, contents, of.id, to.id, f"{of.name} was merged into {to.name}", None)


def move_back(log: Log, moved: Moved) -> Moved:
    """Undo the move of entries that nobody has corrected since."""
    return _move(log, log.contents(), moved.to, moved.of, "the merging was undone", moved)


def _move(log: Log, contents: Contents, of: int, to: int, reason: str, only: Moved | None) -> Moved:
    purchases = [p for p in contents.current_purchases() if p.lot_id == of]
    money = [m for m in contents.current_money() if m.lot_id == of]
    yields = _yields_of(contents, of)
    if only is not None:
        purchases = [p for p in purchases if p.id in only.purchases]
        money = [m for m in money if m.id in only.money]
        yields = [y for y in yields if y.id in only.yields]
    return Moved(
        of,
        to,
        tuple(log.correct_purchase(p.id, p.as_new(), reason, to).id for p in purchases),
        tuple(log.correct_money(m.id, m.as_new(), reason, to).id for m in money),
        tuple(log.correct_yield(y.id, y.as_new(), reason, _lots(contents, y.id, of, to)).id for y in yields),
    )


def _yields_of(contents: Contents, lot: int) -> list[Yield]:
    its = {each.yield_id for each in contents.yield_lots if each.lot_id == lot}
    return [gold for gold in contents.current_yields() if gold.id in its]


def _lots(contents: Contents, number: int, of: int, to: int) -> dict[int | str, float]:
    """The lots of a yield, with one in place of another."""
    found: dict[int | str, float] = {}
    for each in contents.yield_lots:
        if each.yield_id == number:
            lot = to if each.lot_id == of else each.lot_id
            found[lot] = max(found.get(lot, 0.0), each.copies)
    return found
