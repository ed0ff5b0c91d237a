"""Profit of lots, sellers and parts, and a check of the money ranges of saved offers.

Profit is proceeds of sales and settlements, less the refiners' charges, the costs and the purchases. Each currency is
calculated by itself; nothing is converted or added across currencies. A lot that has brought nothing yet is open: its
expenses are not a loss, and it counts in no profit of a seller or a part.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Literal

from calibration.scores import HitRate, share
from grader.learn.compare import NO_NAME
from grader.log import Contents, LoggedLot, LoggedOffer, MoneyEntry, first_of
from grader.model import Range

Amounts = Mapping[str, Decimal]
"""Money by currency."""
_DAY = timedelta(days=1)  # days are the user's own, moments are in UTC


@dataclass(frozen=True)
class Account:
    """Money of a lot, or of all sold lots of a seller or a part.

    Attributes:
        name: of the lot, the seller or the part.
        sold: lots that have brought something.
        open: lots that have brought nothing yet; their money is in an account of their own only.
        unpriced: sold lots without a purchase; their profit lacks the price.
        paid: to the sellers.
        costs: all other.
        came_in: proceeds of sales, and what was payable by settlements.
        charges: that refiners kept back.
    """

    name: str
    sold: int
    open: int
    unpriced: int
    paid: Amounts
    costs: Amounts
    came_in: Amounts
    charges: Amounts

    @property
    def balance(self) -> dict[str, Decimal]:
        """Income minus expenses."""
        return _total([(self.came_in, 1), *((out, -1) for out in (self.charges, self.costs, self.paid))])

    @property
    def profit(self) -> dict[str, Decimal] | None:
        """The balance; None while nothing was sold."""
        return self.balance if self.sold else None


def accounts(contents: Contents) -> tuple[Account, ...]:
    """Of every lot of which money was logged, in the order of the lots."""
    return tuple(account for _, account in _by_lot(contents))


def accounts_by(contents: Contents, by: Literal["seller", "part"]) -> tuple[Account, ...]:
    """The same by seller or part: the money of sold lots, and how many are open."""
    groups: dict[str, list[Account]] = defaultdict(list)
    for lot, account in _by_lot(contents):
        groups[(lot.seller if by == "seller" else lot.part) or NO_NAME].append(account)
    return tuple(_group(name, groups[name]) for name in sorted(groups))


def _by_lot(contents: Contents) -> list[tuple[LoggedLot, Account]]:
    bought, others = contents.current_purchases(), contents.current_money()
    found = []
    for lot in contents.lots:
        prices = [(p.currency, p.price) for p in bought if p.lot_id == lot.id]
        money = [m for m in others if m.lot_id == lot.id]
        if prices or money:
            sold = any(_brings(m) for m in money)
            account = Account(
                lot.name,
                int(sold),
                int(not sold),
                int(sold and not prices),
                _sum(prices),
                _sum((m.currency, m.amount) for m in money if m.kind == "cost"),
                _sum((m.currency, m.amount) for m in money if m.kind != "cost"),
                _sum((m.currency, m.charges) for m in money if m.charges),
            )
            found.append((lot, account))
    return found


def _brings(entry: MoneyEntry) -> bool:
    """Whether a lot is sold by it: an entry that was corrected to nothing sells nothing."""
    return entry.kind != "cost" and (entry.amount > 0 or entry.charges > 0)


def _group(name: str, some: Sequence[Account]) -> Account:
    sold = [a for a in some if a.sold]
    paid, costs, came_in, charges = (
        _total((getattr(a, field), 1) for a in sold) for field in ("paid", "costs", "came_in", "charges")
    )
    unpriced = sum(a.unpriced for a in sold)
    return Account(name, len(sold), len(some) - len(sold), unpriced, paid, costs, came_in, charges)


def _sum(amounts: Iterable[tuple[str, Decimal]]) -> dict[str, Decimal]:
    total: dict[str, Decimal] = defaultdict(Decimal)
    for currency, amount in amounts:
        total[currency] += amount
    return dict(total)


def _total(parts: Iterable[tuple[Amounts, int]]) -> dict[str, Decimal]:
    return _sum((currency, sign * amount) for amounts, sign in parts for currency, amount in amounts.items())


@dataclass(frozen=True)
class Outcome:
    """A sold lot beside the last offer that was saved before anything came in.

    Attributes:
        lot: its name.
        why_not: why it is not counted; empty if it is.
        made_on: the day of the offer; None if there was none.
        currency: of the offer and of all that follows.
        way: that the offer's figures are of, in words.
        highest_price: that was worth paying; None if the offer does not say.
        expected: proceeds by the offer, before a refiner's charges.
        came_in: proceeds as logged, likewise.
        expected_profit: by the offer, at what was paid to the seller as logged; None if no price was logged or the
            offer does not say.
        profit: as logged; None likewise.
    """

    lot: str
    why_not: str = ""
    made_on: date | None = None
    currency: str = ""
    way: str = ""
    highest_price: float | None = None
    expected: Range | None = None
    came_in: Decimal | None = None
    expected_profit: Range | None = None
    profit: Decimal | None = None

    @property
    def proceeds_held(self) -> bool | None:
        """Whether what came in lies in its range; None if it is not counted."""
        return _held(self.expected, self.came_in)

    @property
    def profit_held(self) -> bool | None:
        """Whether the profit lies in its range; None if it is not counted."""
        return _held(self.expected_profit, self.profit)


def outcomes(contents: Contents) -> tuple[Outcome, ...]:
    """Of every sold lot."""
    return tuple(_outcome(contents, lot, account) for lot, account in _by_lot(contents) if account.sold)


def ranges_held(some: Sequence[Outcome]) -> dict[str, HitRate]:
    """How often ranges of ``proceeds`` and of ``profit`` held what came, as far as any are counted."""
    told = {
        "proceeds": [o.proceeds_held for o in some if o.proceeds_held is not None],
        "profit": [o.profit_held for o in some if o.profit_held is not None],
    }
    return {name: share(sum(hits), len(hits)) for name, hits in told.items() if hits}


def _outcome(contents: Contents, lot: LoggedLot, account: Account) -> Outcome:
    offer = _offer_before(contents, lot)
    if offer is None:
        return Outcome(lot.name, "no offer was saved before something came in")
    document = offer.document
    currency, expected = str(document.get("currency", "")), _range(document.get("proceeds"))
    highest = document.get("highest_price")
    highest = highest if isinstance(highest, Mapping) else {}
    price = highest.get("price")
    bare = Outcome(
        lot.name,
        made_on=offer.made_at.date(),
        currency=currency,
        way=str(highest.get("title", "")),
        highest_price=float(price) if isinstance(price, int | float) and price >= 0 else None,
    )
    flows = (account.paid, account.costs, account.came_in, account.charges)
    if any(amount and its != currency for flow in flows for its, amount in flow.items()):
        return Outcome(**{**bare.__dict__, "why_not": f"not all of its money is in {currency or 'one currency'}"})
    if expected is None:
        return Outcome(**{**bare.__dict__, "why_not": "the offer gives no range of proceeds"})
    before_price = None if account.unpriced else _before_price(document, expected.level)
    paid = float(account.paid.get(currency, Decimal(0)))
    return Outcome(
        **{
            **bare.__dict__,
            "expected": expected,
            "came_in": account.came_in.get(currency, Decimal(0)),
            "expected_profit": None if before_price is None else _less(before_price, paid),
            "profit": None if before_price is None else account.balance.get(currency, Decimal(0)),
        }
    )


def _offer_before(contents: Contents, lot: LoggedLot) -> LoggedOffer | None:
    """The last one that was in the log when the first sale was first entered, made no later than its day."""
    sales = [(m, first_of(m, contents.money)) for m in contents.current_money() if m.lot_id == lot.id and _brings(m)]
    entered = min(first.logged_at for _, first in sales)
    day = min(sale.day for sale, _ in sales) + _DAY
    offers = [o for o in contents.offers if o.lot_id == lot.id and o.made_at <= entered and o.made_at.date() <= day]
    return offers[-1] if offers else None


def _before_price(document: Mapping[str, Any], level: float) -> Range | None:
    """Profit by an offer if the lot were a gift: the first point of its curve, of nine cases in ten."""
    curve = document.get("curve")
    first = curve[0] if isinstance(curve, Sequence) and curve else None
    names = ("price", "expected_profit", "worst_in_twenty", "best_in_twenty")
    if not isinstance(first, Mapping) or not all(isinstance(first.get(n), int | float) for n in names):
        return None
    price, value, low, high = (float(first[n]) for n in names)
    return Range(value, low, high, level) if price == 0 else None


def _less(known: Range, paid: float) -> Range:
    return Range(known.value - paid, known.low - paid, known.high - paid, known.level)


def _range(document: object) -> Range | None:
    names = ("value", "low", "high", "level")
    if not isinstance(document, Mapping) or not all(isinstance(document.get(n), int | float) for n in names):
        return None
    return Range(*(float(document[n]) for n in names))


def _held(expected: Range | None, came: Decimal | None) -> bool | None:
    return None if expected is None or came is None else expected.low <= float(came) <= expected.high
