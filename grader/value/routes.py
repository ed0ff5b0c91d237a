"""What could be done with the lot, side by side, on the same draws."""

from __future__ import annotations

from calibration.inputs import FloatArray
from grader.model import ProductModel
from grader.value.economics import Economics, Values, of_sale
from grader.value.model import Assumptions, AtPrice, RouteOutcome

STRIP, LEAVE = "strip", "leave"


def compare_routes(
    stripping: Economics,
    mass_g: ProductModel | None,
    a: Assumptions,
    values: Values,
    price: float,
    purchases: int = 1,
) -> tuple[RouteOutcome, ...]:
    """Stripping, each sale by weight, and not buying, when the lot costs ``price``.

    Sales are left out where the mass of the lot is not known.
    """
    found = [_outcome(STRIP, "strip and refine", stripping, price, a)]
    if mass_g is not None:
        found += [_outcome(s.name, s.title, of_sale(s, mass_g, a, values, purchases), price, a) for s in a.sales]
    nothing = AtPrice(0.0, 0.0, 0.0, 0.0, 0.0)
    return (*found, RouteOutcome(LEAVE, "do not buy", nothing, 0.0, 0.0, None, 0.0))


def _outcome(name: str, title: str, money: Economics, price: float, a: Assumptions) -> RouteOutcome:
    return RouteOutcome(
        name,
        title,
        money.at(price),
        max(money.price_at_risk(a.accepted_loss), 0.0),
        _mean(money.hours),
        money.profit_per_hour(price),
        money.cash_tied_up(price),
    )


def _mean(draws: FloatArray) -> float:
    return float(draws.mean())
