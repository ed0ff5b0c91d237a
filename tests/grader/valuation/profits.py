"""The profit of stripping, as a sum of products: the other hand that checks the draws of the money."""

from __future__ import annotations

from grader.model import EMPTY, ProductModel
from grader.valuation.assumptions import Assumptions
from grader.valuation.books import Bookkeeper
from grader.valuation.economics import Economics
from grader.valuation.entries import Sale
from grader.valuation.portions import Portion
from grader.valuation.quantities import Values


def profit_model(gold_mg: ProductModel, a: Assumptions, values: Values, purchases: int, price: float) -> ProductModel:
    """What is left of stripping a lot bought at ``price``."""
    keeper = Bookkeeper(a, values, len(values[a.fee.name]), purchases)
    return keeper.books(keeper.stripping(keeper.stock([Portion("the boards", gold_mg)]))).profit(price)


def of_sale(sale: Sale, mass_g: ProductModel, a: Assumptions, values: Values, purchases: int = 1) -> Economics:
    """Money of selling boards by weight instead; costs of the purchase are still paid."""
    n = len(values[a.fee.name])
    keeper = Bookkeeper(a, values, n, purchases)
    return keeper.books(keeper.selling(sale, keeper.stock([Portion("the boards", EMPTY, mass_g)]))).economics()
