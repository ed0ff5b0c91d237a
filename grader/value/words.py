"""An offer in short texts, for the command line and the page."""

from __future__ import annotations

from calibration.inputs import Input
from grader.budget import TOGETHER
from grader.model import Range
from grader.units import PricePerMass, format_money, format_range, format_share, money_down
from grader.value.model import AtPrice, Offer, Spot, support

_SHOWN_SHARE = 0.005
_MOST_LINES = 8

Lines = list[tuple[str, str]]


def highest_words(offer: Offer) -> str:
    """The highest price worth paying; zero where a reason says why."""
    return format_money(0, offer.assumptions.currency) if offer.reason else str(offer.highest_price)


def break_even_words(offer: Offer) -> str:
    """The price at which there is no profit on average."""
    return str(money_down(offer.break_even, offer.assumptions.currency))


def summary_lines(offer: Offer) -> Lines:
    """What the lot holds, brings and costs."""
    currency = offer.assumptions.currency
    return [
        ("Gold in the visible plating", format_range(offer.gold_mg, "mg")),
        ("What that gold brings", format_range(offer.proceeds, currency)),
        ("Costs without the price", format_range(offer.costs, currency)),
    ]


def at_price(offer: Offer) -> tuple[str, AtPrice] | None:
    """A heading and the odds to show: at the asking price, else at the highest; None where even a gift loses."""
    if offer.asking is not None:
        price = format_money(offer.asking.price, offer.assumptions.currency)
        return f"At the asking price of {price}", offer.asking
    return ("At the highest price worth paying", offer.highest) if offer.reason is None else None


def at_price_lines(at: AtPrice, offer: Offer) -> Lines:
    """What buying at a price means."""
    currency, spread = offer.assumptions.currency, _half(offer.proceeds)
    return [
        ("Expected profit", format_money(at.expected_profit, currency, spread)),
        ("Chance of a loss", format_share(at.chance_of_loss)),
        ("In one case of twenty less than", format_money(at.worst_in_twenty, currency, spread)),
    ]


def budget_lines(offer: Offer) -> list[tuple[str, float, str]]:
    """What moves the profit most: title, share of variance, and the profit from the input's low to its high end."""
    currency, spread = offer.assumptions.currency, _half(offer.proceeds)
    lines = []
    for line in [b for b in offer.budget if b.share_of_variance >= _SHOWN_SHARE][:_MOST_LINES]:
        swing = ""
        if line.input != TOGETHER and line.swing_low is not None and line.swing_high is not None:
            low, high = (format_money(x, currency, spread) for x in (line.swing_low, line.swing_high))
            swing = f"{low} to {high}"
        lines.append((line.title, line.share_of_variance, swing))
    return lines


def assumed_lines(offer: Offer) -> Lines:
    """Everything that was assumed; what is a shipped example says so."""
    a = offer.assumptions
    lines: Lines = []
    if a.spot is not None:
        lines.append((f"gold price of {a.spot.on}", f"{_between(a.spot.input)}{_per_troy_ounce(a.spot)}"))
    lines += [
        (item.title, _between(item) + (" (example)" if item.name in a.examples else ""))
        for item in a.inputs()
        if a.spot is None or item.name != a.spot.input.name
    ]
    return lines


def _per_troy_ounce(spot: Spot) -> str:
    """The price once more in the unit that gold is quoted in, where it is one number."""
    if not spot.input.distribution.is_constant:
        return ""
    currency = spot.input.unit.partition("/")[0]
    price = PricePerMass(spot.input.distribution.parameters[0], currency)
    return f" = {price.amount_per_troy_ounce:.6g} {currency}/ozt"


def _between(item: Input) -> str:
    """The least and greatest value that were assumed, or the only one."""
    low, high = support(item.distribution)
    factor, unit, digits = (1.0, item.unit, 6) if item.unit else (100.0, "%", 4)
    ends = [f"{x * factor:.{digits}g}" for x in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {unit}"


def _half(value: Range) -> float:
    return (value.high - value.low) / 2
