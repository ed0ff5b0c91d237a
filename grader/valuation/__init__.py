"""From gold with a range to money: what to pay for a lot, and the odds."""

from __future__ import annotations

from grader.units.estimates import money_estimate, share_estimate
from grader.valuation.assumptions import example_text, load_assumptions
from grader.valuation.books import economics
from grader.valuation.charges import Charge, Cost, Work
from grader.valuation.economics import VALUATION_DRAWS, Economics
from grader.valuation.entries import Sale, Spot, drift_until_sale
from grader.valuation.given import with_given
from grader.valuation.given_sales import SaleTexts
from grader.valuation.model import Assumptions, Offer
from grader.valuation.notices import CAUTION, VISIBLE_PLATING_ONLY
from grader.valuation.offer import value_lot
from grader.valuation.outcomes import AtPrice, OverMany, RouteOutcome
from grader.valuation.portions import Portion
from grader.valuation.sets import load_set, sets_in
from grader.valuation.settlement import Settlement

__all__ = [
    "CAUTION",
    "VALUATION_DRAWS",
    "VISIBLE_PLATING_ONLY",
    "Assumptions",
    "AtPrice",
    "Charge",
    "Cost",
    "Economics",
    "Offer",
    "OverMany",
    "Portion",
    "RouteOutcome",
    "Sale",
    "SaleTexts",
    "Settlement",
    "Spot",
    "Work",
    "drift_until_sale",
    "economics",
    "example_text",
    "load_assumptions",
    "load_set",
    "money_estimate",
    "sets_in",
    "share_estimate",
    "value_lot",
    "with_given",
]
