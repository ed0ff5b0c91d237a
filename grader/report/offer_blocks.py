"""What to pay for a lot, in a report."""

from __future__ import annotations

from collections.abc import Iterator

from grader.report.blocks import Block, Caveat, Text
from grader.table import Table
from grader.units import format_share
from grader.valuation import Offer
from grader.valuation.words import (
    CURVE_COLUMNS,
    LOT_COLUMNS,
    ROUTE_COLUMNS,
    assumed_lines,
    at_price,
    at_price_lines,
    break_even_words,
    budget_lines,
    budget_price_words,
    curve_rows,
    each_words,
    highest_words,
    lot_rows,
    needs_lines,
    over_many_words,
    question_rows,
    route_rows,
    routes_heading,
    summary_lines,
)


def offer_blocks(offer: Offer) -> Iterator[Block]:
    """Price, odds, ways to deal with the lot, what moves the profit, what was assumed."""
    way = "" if offer.reason is not None else f", to {offer.way.title}"
    yield Text(
        f"Highest price worth paying: {highest_words(offer)}{way} ({offer.assumptions.rule.words})",
        is_strong=True,
    )
    each = each_words(offer)
    if each:
        yield Text(f"That is {each}.")
    if offer.assumptions.share_of_gains is None:
        yield Text(over_many_words(offer))
    if offer.reason is not None:
        yield Caveat(offer.reason.message, offer.reason.advice, offer.reason.code)
    parts = tuple(lot_rows(offer))
    if parts:
        yield Table(LOT_COLUMNS, parts, "The lot")
    break_even = ("Break-even price (no profit on average)", break_even_words(offer))
    yield Table(("", ""), (*summary_lines(offer), break_even))
    shown = at_price(offer)
    if shown is not None:
        title, at = shown
        yield Table(("", ""), tuple(at_price_lines(at, offer)), title)
    yield Table(ROUTE_COLUMNS, tuple(route_rows(offer)), routes_heading(offer))
    needs = tuple(needs_lines(offer))
    if needs:
        yield Table(("", ""), needs, f"The work, as planned: {offer.way.title}")
    price = budget_price_words(offer)
    moves = tuple((title, format_share(share), swing) for title, share, swing in budget_lines(offer))
    if moves:
        columns = ("Input", "Share", "Profit, from its low to its high end")
        yield Table(columns, moves, f"What moves the profit most ({offer.way.title}, at {price})")
    curve = tuple(curve_rows(offer))
    if curve:
        yield Table(CURVE_COLUMNS, curve, f"Profit against price: {offer.way.title}")
    questions = tuple(question_rows(offer))
    if questions:
        yield Table(("", ""), questions, "Worth asking before you buy")
    yield Table(("", ""), tuple(assumed_lines(offer)), "Assumed")
    for item in offer.notices:
        yield Caveat(item.message, item.advice, item.code)
