"""Convert a seller's price by weight or per board to a price for the lot."""

from __future__ import annotations

from calibration.errors import UsageError
from grader.units import AskingPrice, LotSize, parse_mass_g


def total_asked(price: AskingPrice, size: LotSize) -> float:
    """The seller's price for a whole lot of this size.

    Raises:
        UsageError: ``asking-mass-unknown``, ``asking-boards-unknown``.
    """
    amount = float(price.amount.amount)
    if price.per == "lot":
        return amount
    if price.per == "board":
        if size.boards is None:
            raise UsageError(
                "asking-boards-unknown",
                f"The asking price of {price} is by the board, but how many boards there are is not known.",
                "Give the number of boards in the lot, or the price for all of it.",
            )
        return amount * size.boards
    if size.mass_kg is None:
        raise UsageError(
            "asking-mass-unknown",
            f"The asking price of {price} is by weight, but what the boards weigh is not known.",
            "Give the mass of the lot, or the price for all of it.",
        )
    return amount * size.mass_kg * (1.0 if price.per == "kg" else 1e3 / parse_mass_g("1 lb"))
