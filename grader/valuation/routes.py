"""Compare the ways to deal with a lot, on the same draws."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from calibration.arrays import FloatArray
from grader.model import Range
from grader.valuation.books import Activity, Bookkeeper, Books
from grader.valuation.conditional import conditional
from grader.valuation.economics import Economics
from grader.valuation.entries import Sale
from grader.valuation.outcomes import AtPrice, RouteOutcome
from grader.valuation.portions import Portion, Stock
from grader.valuation.quantities import Quantity
from grader.valuation.rules import Rule

STRIP, SORT, LEAVE = "strip", "sort", "leave"


@dataclass(frozen=True)
class Way:
    """One way to deal with the lot after buying it.

    Attributes:
        name: short, for files.
        title: in plain words.
        books: what it brings and costs.
    """

    name: str
    title: str
    books: Books

    @cached_property
    def money(self) -> Economics:
        """Draws of it, before a price is known."""
        drawn = self.books.economics()
        pieces = [(b.profit, b.worth, b.bent) for b in self.books.branches()]
        return replace(drawn, given=conditional(pieces, drawn.load, self.books.proceeds.values))


def ways_of(keeper: Bookkeeper, portions: Sequence[Portion]) -> tuple[Way, ...]:
    """Stripping, each sale by weight, and what can be done together; sales need a mass of the lot that is known.

    Args:
        keeper: of the books.
        portions: that the lot could be sorted into; all of it.
    """
    lot = keeper.stock(portions)
    strip = keeper.stripping(lot)
    if lot.boards_kg is None:
        return (Way(STRIP, _STRIP, keeper.books(strip, lot=lot)),)
    ways = list(_with_bodies(keeper, STRIP, _STRIP, strip, lot, lot.stripped_kg))
    for sale in keeper.a.sales:
        done = keeper.selling(sale, lot) if sale.what != "bodies" else None
        if done is not None and sale.what == "pieces":
            ways += _with_bodies(keeper, sale.name, sale.title, done, lot, lot.pieces_kg)
        elif done is not None:
            ways.append(Way(sale.name, sale.title, keeper.books(done, lot=lot)))
    return (*ways, *_sorted_first(keeper, portions, lot))


_STRIP = "strip and refine"


def _bodies(keeper: Bookkeeper) -> Sale | None:
    """The sale of what is left; none if it brings nothing for sure."""
    found = next((s for s in keeper.a.sales if s.what == "bodies"), None)
    return None if found is None or found.price is None or not keeper.values[found.price.name].any() else found


def _with_bodies(
    keeper: Bookkeeper, name: str, title: str, done: Activity, stock: Stock, off_kg: Quantity | None
) -> Iterator[Way]:
    """A way that cuts pieces off the boards: alone, and with a sale of what is left of them."""
    yield Way(name, title, keeper.books(done, lot=stock))
    bodies = _bodies(keeper)
    if bodies is not None:
        both = keeper.books(done, keeper.selling(bodies, stock, off_kg), lot=stock)
        yield Way(f"{name}+{bodies.name}", f"{title}; {bodies.title}", both)


def _sorted_first(keeper: Bookkeeper, portions: Sequence[Portion], lot: Stock) -> Iterator[Way]:
    """Strip the portions richest in gold by weight and sell the others whole: of all places to part them the best."""
    whole = next((s for s in keeper.a.sales if s.what == "boards"), None)
    if whole is None or len(portions) < 2:
        return
    ranked = sorted(portions, key=lambda p: -_richness(keeper.stock([p])))
    found: list[Way] = []
    for k in range(1, len(ranked)):
        good, rest = keeper.stock(ranked[:k]), keeper.stock(ranked[k:])
        names = ", ".join(p.name for p in ranked[:k])
        title = f"sort; strip {names}, sell the rest whole"
        done = (keeper.stripping(good), keeper.selling(whole, rest))
        found.append(Way(SORT, title, keeper.books(*done, lot=lot)))
        bodies = _bodies(keeper)
        if bodies is not None:
            books = keeper.books(*done, keeper.selling(bodies, good, good.stripped_kg), lot=lot)
            found.append(Way(SORT, f"{title}; {bodies.title}", books))
    yield best_of(found, keeper.a.rule)


def _richness(stock: Stock) -> float:
    """Gold by mass of boards, of means."""
    mass = 0.0 if stock.boards_kg is None else float(stock.boards_kg.draws.mean())
    return float(stock.gold_g.draws.mean()) / mass if mass > 0 else 0.0


def best_of(ways: Iterable[Way], rule: Rule) -> Way:
    """The way that bears the highest price by a rule; of equals the first."""
    return max(ways, key=lambda way: rule.price(way.money))


def compare_routes(ways: Iterable[Way], rule: Rule, price: float) -> tuple[RouteOutcome, ...]:
    """Compare the ways at a price for the lot, and not buying."""
    nothing = AtPrice(0.0, 0.0, 0.0, 0.0, 0.0)
    return (
        *(_outcome(way, price, rule) for way in ways),
        RouteOutcome(LEAVE, "do not buy", nothing, 0.0, 0.0, 0.0, None, 0.0),
    )


def _outcome(way: Way, price: float, rule: Rule) -> RouteOutcome:
    money = way.money
    return RouteOutcome(
        way.name,
        way.title,
        money.at(price),
        max(rule.price(money), 0.0),
        max(money.break_even(), 0.0),
        _mean(money.hours),
        money.profit_per_hour(price),
        money.cash_tied_up(price),
        {name: Range.of(amount.draws) for name, amount in way.books.needs.items()},
    )


def _mean(draws: FloatArray) -> float:
    return float(draws.mean())
