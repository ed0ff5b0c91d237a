"""An offer in short texts, for the command line and the page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import isinf
from typing import Any

import numpy as np

from calibration.inputs import Input
from grader.budget import TOGETHER
from grader.model import Range
from grader.units import (
    MassUnit,
    PricePerMass,
    format_money,
    format_range,
    format_share,
    in_digits,
    money_down,
    round_to,
)
from grader.valuation.charges import BY_PLAN
from grader.valuation.entries import Spot
from grader.valuation.model import Offer
from grader.valuation.outcomes import AtPrice
from grader.valuation.routes import LEAVE

_SHOWN_SHARE = 0.005
_MOST_LINES = 8

WordedLines = list[tuple[str, str]]


def highest_words(offer: Offer) -> str:
    """The highest price worth paying; zero if a reason says why."""
    return format_money(0, offer.assumptions.currency) if offer.reason else str(offer.highest_price)


def each_words(offer: Offer) -> str:
    """The highest price once more by weight and by the board; empty if it is 0 or neither is known."""
    if offer.reason is not None:
        return ""
    currency, each = offer.assumptions.currency, offer.size.each(offer.highest.price)
    known = (("per_kg", "a kg"), ("per_lb", "a lb"), ("per_board", "a board"))
    return ", ".join(f"{money_down(x, currency)} {per}" for key, per in known if (x := each[key]) is not None)


def over_many_words(offer: Offer) -> str:
    """The highest price for a buyer of many lots, in a sentence, with the chance of a loss that goes with it."""
    many, currency = offer.over_many, offer.assumptions.currency
    if many.at.price <= 0:
        return "If you buy many such lots: nothing, for losing ones would take too much of what winning ones bring."
    price, chance = money_down(many.at.price, currency), format_share(many.at.chance_of_loss)
    way = "" if many.route == offer.route and offer.reason is None else f", to {many.title}"
    return (
        f"If you buy many such lots: up to {price}{way}. {chance} of them would lose at that, and take "
        f"{format_share(many.share)} of what the others bring."
    )


def break_even_words(offer: Offer) -> str:
    """The price at which there is no profit on average."""
    return str(money_down(offer.break_even, offer.assumptions.currency))


def why_words(offer: Offer) -> str:
    """The basis of the price in a line: income, costs, and the input that matters most."""
    currency = offer.assumptions.currency
    brings, costs = (format_money(r.value, currency, _half(r)) for r in (offer.proceeds, offer.costs))
    most = next((line.title for line in offer.budget if line.input != TOGETHER), "")
    decides = f" Most depends on this: {most}." if most and offer.budget[0].share_of_variance >= _SHOWN_SHARE else ""
    return f"It brings about {brings} and costs about {costs} besides its price.{decides}"


def loss_words(offer: Offer) -> str:
    """How likely a loss is: at the asking price, otherwise at the highest price worth paying."""
    at = offer.highest if offer.asking is None else offer.asking
    where = f"at {highest_words(offer)}" if offer.asking is None else f"at the asking price of {asking_words(offer)}"
    return f"{format_share(at.chance_of_loss)} chance of a loss {where}"


def summary_lines(offer: Offer, liked: MassUnit = "auto") -> WordedLines:
    """Contents, income and costs of the lot; masses in the preferred unit."""
    currency = offer.assumptions.currency
    return [
        (
            "Gold in the visible plating",
            format_range(offer.gold_mg, "mg", liked) if offer.gold_mg.high else "none seen",
        ),
        *_flash_lines(offer.lot),
        (f"What it brings ({offer.way.title})", format_range(offer.proceeds, currency)),
        ("Costs without the price", format_range(offer.costs, currency)),
        *([("Of these, your own time", format_range(offer.own_time, currency))] if offer.own_time.high > 0 else []),
    ]


def _flash_lines(parts: Sequence[Mapping[str, Any]]) -> WordedLines:
    """How much of the contacts is flash gold, part by part; a chance where a part is of one design."""
    found = []
    for part in parts:
        share = part.get("flash_share")
        if share is None:
            continue
        about = f": {part['name']}" if len(parts) > 1 else ""
        if part.get("designs") == "many":
            ends = f" ({format_share(share['low'])} to {format_share(share['high'])})"
            found.append((f"Share of flash gold{about}", f"{format_share(share['value'])}{ends}"))
        else:
            found.append((f"Chance that the contacts are flash gold{about}", format_share(share["value"])))
    return found


ROUTE_COLUMNS = (
    "Way",
    "Highest price",
    "Expected profit",
    "Chance of a loss",
    "Worst in twenty",
    "Profit an hour",
    "Cash tied up",
)


def route_rows(offer: Offer) -> list[tuple[str, ...]]:
    """The ways to deal with the lot, a row each under ``ROUTE_COLUMNS``."""
    currency = offer.assumptions.currency

    def money(amount: float, spread: float) -> str:
        return format_money(amount, currency, spread)

    rows: list[tuple[str, ...]] = []
    for r in offer.routes:
        spread = (r.at.best_in_twenty - r.at.worst_in_twenty) / 2
        hour = "" if r.profit_per_hour is None else f"{money(r.profit_per_hour, spread / max(r.hours, 1.0))}"
        profit, worst = money(r.at.expected_profit, spread), money(r.at.worst_in_twenty, spread)
        highest = format_money(0, currency) if r.highest_price <= 0 else str(money_down(r.highest_price, currency))
        loss, cash = format_share(r.at.chance_of_loss), money(r.cash_tied_up, spread)
        rows.append((r.title, "" if r.name == LEAVE else highest, profit, loss, worst, hour, cash))
    return rows


_NEEDS = (("cut", "Cuts", ""), ("load", "Vessel loads", ""), ("h", "Hours of your own", "h"), ("l", "Waste", "l"))


def needs_lines(offer: Offer) -> WordedLines:
    """What the work of the best way takes, as the plans of cuts and batch have it; empty if nothing is planned."""
    needs, currency = offer.way.needs, offer.assumptions.currency
    lines = [(title, format_range(needs[key], unit)) for key, title, unit in _NEEDS if key in needs]
    if "chemicals" in needs:
        lines.append(("Reagents, filters and rinse water", format_range(needs["chemicals"], currency)))
    return lines


LOT_COLUMNS = ("Part", "Boards photographed", "Boards in the lot")


_MOST_QUESTIONS = 6
_LEAST_WORTH = 0.02  # of the dearest answer
_LEAST_OF_BID = 0.01


def question_rows(offer: Offer) -> list[tuple[str, str]]:
    """Questions to settle before buying, with the greatest worth of their answers.

    An answer worth less than a hundredth of the bid, or of the break-even price where nothing should be bid, is not
    worth the asking.
    """
    currency = offer.assumptions.currency
    bid = offer.highest.price or offer.break_even
    least = max(_LEAST_OF_BID * bid, _LEAST_WORTH * max((q.worth for q in offer.questions), default=0.0), 0.01)
    asked = [q for q in offer.questions if q.worth >= least][:_MOST_QUESTIONS]
    return [(q.text, f"worth up to {round_to(q.worth, q.worth)} {currency} to you") for q in asked]


CURVE_COLUMNS = ("Price", "Expected profit", "In 90 of 100 cases between", "Chance of a loss")
_CURVE_ROWS_EVERY = 5


def curve_rows(offer: Offer) -> list[tuple[str, str, str, str]]:
    """Profit against price, a few points of the curve."""
    currency = offer.assumptions.currency
    rows = []
    for at in offer.curve[::_CURVE_ROWS_EVERY]:
        spread = (at.best_in_twenty - at.worst_in_twenty) / 2
        low, high = (format_money(x, currency, spread) for x in (at.worst_in_twenty, at.best_in_twenty))
        mean = format_money(at.expected_profit, currency, spread)
        step = offer.curve[1].price - offer.curve[0].price
        rows.append(
            (format_money(at.price, currency, step), mean, f"{low} and {high}", format_share(at.chance_of_loss))
        )
    return rows


def lot_rows(offer: Offer) -> list[tuple[str, str, str]]:
    """The parts of the lot: name, boards photographed, boards that there are likely to be."""
    return lot_part_rows(offer.lot)


def lot_part_rows(parts: Iterable[Mapping[str, Any]]) -> list[tuple[str, str, str]]:
    """The same from the parts as ``LotEstimate.as_json`` gives them."""
    return [(str(p["name"]), _seen_words(p), f"{p['boards']:.0f}") for p in parts]


def _seen_words(part: Mapping[str, Any]) -> str:
    """Boards photographed, with their range where only outlines tell; older offers hold none."""
    seen = part["boards_seen"]
    low, high = part.get("boards_seen_low", seen), part.get("boards_seen_high", seen)
    return str(seen) if low == high else f"{seen} ({low} to {high})"


def routes_heading(offer: Offer) -> str:
    """At what price the ways are compared."""
    return f"Ways to deal with it, bought for {budget_price_words(offer)}"


def budget_price_words(offer: Offer) -> str:
    """The price that ways and budget are at: the asking price, otherwise the highest."""
    if offer.asking is None:
        return highest_words(offer)
    return format_money(offer.budget_price, offer.assumptions.currency)


def asking_words(offer: Offer) -> str:
    """The asking price for the lot, after that by weight or board where the seller put it so; empty for none."""
    if offer.asking is None:
        return ""
    price = format_money(offer.asking.price, offer.assumptions.currency)
    return price if offer.asked is None else f"{offer.asked}, {price} for the lot"


def at_price(offer: Offer) -> tuple[str, AtPrice] | None:
    """A heading and the odds to show: at the asking price, otherwise at the highest; None if even a gift loses."""
    if offer.asking is not None:
        return f"At the asking price of {asking_words(offer)}: {offer.way.title}", offer.asking
    return (f"At the highest price worth paying: {offer.way.title}", offer.highest) if offer.reason is None else None


def at_price_lines(at: AtPrice, offer: Offer) -> WordedLines:
    """The outcome of buying at a price, in lines."""
    currency, spread = offer.assumptions.currency, (at.best_in_twenty - at.worst_in_twenty) / 2
    return [
        ("Expected profit", format_money(at.expected_profit, currency, spread)),
        ("Chance of a loss", format_share(at.chance_of_loss)),
        ("In one case of twenty less than", format_money(at.worst_in_twenty, currency, spread)),
    ]


def budget_lines(offer: Offer) -> list[tuple[str, float, str]]:
    """The inputs that move the profit most: title, share of variance, and profit at their low and high ends."""
    currency, widest = (
        offer.assumptions.currency,
        max((high - low for _, low, high in swing_lines(offer)), default=0.0),
    )
    spread = max(_half(offer.proceeds), widest / 2)
    lines = []
    for line in [b for b in offer.budget if b.share_of_variance >= _SHOWN_SHARE][:_MOST_LINES]:
        swing = ""
        if line.input != TOGETHER and line.swing_low is not None and line.swing_high is not None:
            low, high = (format_money(x, currency, spread) for x in (line.swing_low, line.swing_high))
            swing = f"{low} to {high}"
        lines.append((line.title, line.share_of_variance, swing))
    return lines


def swing_lines(offer: Offer) -> list[tuple[str, float, float]]:
    """Title and profit at either end of an input's range, the widest swing first."""
    found = [
        (line.title, min(line.swing_low, line.swing_high), max(line.swing_low, line.swing_high))
        for line in offer.budget
        if line.swing_low is not None and line.swing_high is not None
    ]
    widest = sorted(found, key=lambda swing: swing[1] - swing[2])[:_MOST_LINES]
    return [swing for swing in widest if swing[2] - swing[1] > _SHOWN_SHARE * (widest[0][2] - widest[0][1])]


def assumed_lines(offer: Offer) -> WordedLines:
    """All assumptions; shipped examples are marked."""
    a = offer.assumptions
    lines: WordedLines = []
    if a.spot is not None:
        lines.append((f"gold price of {a.spot.on}", f"{_between(a.spot.input)}{_per_troy_ounce(a.spot)}"))
    lines += [
        (item.title, _assumed(item, is_example=item.name in a.examples))
        for item in a.inputs()
        if a.spot is None or item.name != a.spot.input.name
    ]
    return lines


def _assumed(item: Input, *, is_example: bool) -> str:
    if item.source == BY_PLAN:
        return "as planned"
    return _between(item) + (" (example)" if is_example else "")


def _per_troy_ounce(spot: Spot) -> str:
    """The price once more in the unit that gold is quoted in, where it is one number."""
    if not spot.input.distribution.is_constant:
        return ""
    currency = spot.input.unit.partition("/")[0]
    price = PricePerMass(spot.input.distribution.parameters[0], currency)
    return f" = {in_digits(price.amount_per_troy_ounce, 6)} {currency}/ozt"


def _between(item: Input) -> str:
    """The least and greatest value that were assumed (90 % of a range without an end), or the only one."""
    low, high = item.distribution.support
    if isinf(high):
        low, high = (float(x) for x in np.quantile(item.draws(), [0.05, 0.95]))
    factor, unit, digits = (1.0, item.unit, 6) if item.unit else (100.0, "%", 3 if low < high else 4)
    ends = [in_digits(x * factor, digits) for x in (low, high)]
    return f"{' to '.join(dict.fromkeys(ends))} {unit}"


def _half(value: Range) -> float:
    return (value.high - value.low) / 2
