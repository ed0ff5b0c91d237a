"""What could be done with the lot, side by side, on the same draws."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from calibration.inputs import FloatArray
from grader.model import ProductModel
from grader.valuation.economics import Economics, of_sale
from grader.valuation.model import Assumptions, AtPrice, RouteOutcome
from grader.valuation.quantities import Values

STRIP, LEAVE = "strip", "leave"


@dataclass(frozen=True)
class Way:
    """One thing to do with the lot once it is bought.

    Attributes:
        name: short, for files.
        title: plain words.
        money: draws of it, before a price is known.
    """

    name: str
    title: str
    money: Economics


def ways_of(
    stripping: Economics, mass_g: ProductModel | None, a: Assumptions, values: Values, purchases: int = 1
) -> tuple[Way, ...]:
    """Stripping, and each sale by weight; sales are left out where the mass of the lot is not known."""
    strip = Way(STRIP, "strip and refine", stripping)
    if mass_g is None:
        return (strip,)
    return (strip, *(Way(s.name, s.title, of_sale(s, mass_g, a, values, purchases)) for s in a.sales))


def compare_routes(ways: Iterable[Way], a: Assumptions, price: float) -> tuple[RouteOutcome, ...]:
    """What each way comes to when the lot costs ``price``, and not buying."""
    nothing = AtPrice(0.0, 0.0, 0.0, 0.0, 0.0)
    return (
        *(_outcome(way, price, a) for way in ways),
        RouteOutcome(LEAVE, "do not buy", nothing, 0.0, 0.0, None, 0.0),
    )


def _outcome(way: Way, price: float, a: Assumptions) -> RouteOutcome:
    money = way.money
    return RouteOutcome(
        way.name,
        way.title,
        money.at(price),
        max(money.price_at_risk(a.accepted_loss), 0.0),
        _mean(money.hours),
        money.profit_per_hour(price),
        money.cash_tied_up(price),
    )


def _mean(draws: FloatArray) -> float:
    return float(draws.mean())
