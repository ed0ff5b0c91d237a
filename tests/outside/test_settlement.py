"""Settlement arithmetic against a published worked example.

Source: kaizengold.com, "Gold refinery settlement process": net weight × assay × payable × price - charges; its
example takes 24.96 kg × 0.913 = 22.79 kg of gold, × 0.99 = 22.56 kg payable, "725.4 oz".

The exact troy ounce (31.1034768 g) gives 725.34 oz; the page's figure follows from an ounce rounded to 31.1 g. Both
are checked, so that neither a wrong factor nor a wrong order of operations can pass.
"""

from __future__ import annotations

from datetime import date

import pytest

from calibration.distributions import Distribution
from calibration.inputs import Input
from grader.model import ProductModel, Term
from grader.units import parse_mass_g, parse_price_per_mass
from grader.valuation import Assumptions, Cost, Spot, value_lot

DAY = date(2026, 11, 25)


def settle(price: str, charges: float) -> float:
    """What the gold of the example brings after charges, in USD."""

    def share(name: str, value: float) -> Input:
        return Input.named(name, name, Distribution("constant", (value,)), "example")

    fine_mg = parse_mass_g("24.96 kg") * 1000 * 0.913
    assumptions = Assumptions(
        currency="USD",
        payable=share("payable", 0.99),
        recovery=share("recovery", 1.0),
        charges=(
            Cost(Input("cost", "charges", Distribution("constant", (charges,)), "example", "USD", of=("charges",))),
        ),
        fee=share("fee", 0.0),
        tax=share("tax", 0.0),
        spot=Spot.of(parse_price_per_mass(price), DAY),
    )
    return value_lot(ProductModel((Term(fine_mg, ()),), {}), assumptions, today=DAY, draws=10).break_even


def test_payable_ounces_of_the_worked_example() -> None:
    assert settle("1 USD/ozt", 0.0) == pytest.approx(24_960 * 0.913 * 0.99 / 31.1034768, rel=1e-12)
    assert settle("1 USD/ozt", 0.0) == pytest.approx(725.34, abs=0.005)
    assert round(settle("1 USD/31.1 g", 0.0), 1) == 725.4
    assert settle("1 USD/kg", 0.0) == pytest.approx(22.56, abs=0.005)


def test_charges_come_off_the_settlement() -> None:
    assert settle("2000 USD/ozt", 3500.0) == pytest.approx(settle("2000 USD/ozt", 0.0) - 3500.0)
