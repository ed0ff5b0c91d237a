"""The profit of stripping, as a sum of products: the other hand that checks the draws of the money."""

from __future__ import annotations

from grader.model import ProductModel
from grader.valuation.assumptions import Assumptions
from grader.valuation.books import Bookkeeper
from grader.valuation.portions import Portion
from grader.valuation.quantities import Values


def profit_model(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int, price: float) -> ProductModel:
    """What is left of stripping a lot bought at ``price``."""
    keeper = Bookkeeper(a, values, len(values[a.fee.name]), purchases)
    return keeper.books(keeper.stripping(keeper.stock([Portion("the boards", gold_mg)]))).profit(price)
