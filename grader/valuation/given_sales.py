"""What a person types of the time until the sale and of sales by weight."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from calibration.errors import UsageError
from calibration.inputs import Input
from grader.units import parse_weeks
from grader.units.estimates import named
from grader.valuation.assumptions import sale_price, sale_share
from grader.valuation.entries import Sale, What, drift_over
from grader.valuation.model import Assumptions

_GIVEN = "given"
_TITLES: Mapping[str, str] = {
    "trim": "trim, sell the pieces",
    "whole": "sell on whole",
    "bodies": "sell what is left of the boards",
}
_OF: Mapping[str, What] = {"trim": "pieces", "whole": "boards", "bodies": "bodies"}


@dataclass(frozen=True)
class SaleTexts:
    """A sale by weight as typed; None for what was not.

    Attributes:
        price: "40..90 USD/kg".
        share: of the boards' mass that is sold, "4..8..15 %".
    """

    price: str | None = None
    share: str | None = None


def given_drift(base: Assumptions, weeks: str | None) -> tuple[Input | None, float | None]:
    """The drift of the gold price over other weeks than the base's, at the base's volatility.

    Raises:
        UsageError: ``drift-unknown`` where the base states no volatility, or as ``parse_weeks``.
    """
    if weeks is None:
        return base.drift, base.weeks
    typed = named("time until the sale", parse_weeks, weeks)
    if base.drift is None or not base.weeks:
        raise UsageError(
            "drift-unknown",
            "Your figures do not say how much the gold price moves in a year.",
            "Add [drift] with weeks and volatility to your file of figures.",
        )
    return drift_over(base.drift, base.weeks, typed), typed


def given_sales(base: tuple[Sale, ...], typed: Mapping[str, SaleTexts]) -> tuple[Sale, ...]:
    """Sales by weight with prices and shares that were typed in place of the base's; new ones are added.

    Args:
        base: as they are.
        typed: by the sale's name; of a new one "trim" needs a share, for pieces are not the whole.

    Raises:
        UsageError: ``sale-price-missing`` or ``sale-share-missing`` for half a new sale, or as the estimates.
    """
    sales = {sale.name: sale for sale in base}
    for name, texts in typed.items():
        price, share = _input(name, sale_price, texts.price), _input(name, sale_share, texts.share)
        known = sales.get(name)
        if known is not None:
            pays = None if price is not None else known.pays
            sales[name] = replace(known, price=price or known.price, share=share or known.share, pays=pays)
        elif price is not None and (share is not None or _OF.get(name, "pieces") != "pieces"):
            sales[name] = Sale(name, _title(name), price, share, of=_OF.get(name))
        elif price is not None:
            raise UsageError(
                "sale-share-missing",
                f"{_title(name)}: the share of the mass that is sold is missing.",
                "Give it, such as 4..8..15 %.",
            )
        elif share is not None:
            raise UsageError(
                "sale-price-missing", f"{_title(name)}: the price is missing.", "Give it, such as 60 USD/kg."
            )
    return tuple(sales.values())


def _input(name: str, read: Callable[[str, str, str], Input], text: str | None) -> Input | None:
    return None if text is None else named(_title(name), lambda typed: read(name, typed, _GIVEN), text)


def _title(name: str) -> str:
    return _TITLES.get(name, name)
