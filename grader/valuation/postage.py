"""What the seller charges for sending a lot, in place of the example cost."""

from __future__ import annotations

from dataclasses import replace

from calibration.errors import UsageError
from grader.units.estimates import named
from grader.valuation.charges import Cost
from grader.valuation.model import Assumptions

_KEY = ("shipping",)
_TITLE = "shipping in"
_GIVEN = "as given"


def with_postage(figures: Assumptions, postage: str) -> Assumptions:
    """Figures with what it costs to have the lot sent; other costs stay.

    Args:
        figures: of prices and costs.
        postage: "12 USD", or a range; zero if it is free or the boards are fetched.

    Raises:
        UsageError: it cannot be read, or ``postage-currency``.
    """
    cost = named("postage", lambda text: Cost.of(_KEY, _TITLE, text, "", _GIVEN, "purchase"), postage)
    currency = cost.input.unit.partition("/")[0]
    if currency != figures.currency:
        raise UsageError(
            "postage-currency",
            f"The postage is in {currency}, but the other figures are in {figures.currency}.",
            f"Write the postage in {figures.currency}.",
        )
    others = [c for c in figures.charges if not (isinstance(c, Cost) and c.key == cost.key)]
    names = {i.name for c in figures.charges if c not in others for i in c.inputs()}
    return replace(figures, charges=(cost, *others), examples=figures.examples - names)
