"""An offer as a person reads it: the price, the odds, what moves them, what was assumed, what to mind."""

from __future__ import annotations

import streamlit as st

from app.common.chart import draw
from app.common.preferences import mass_unit
from app.common.show import as_typed, bars, caution, heading, table, told_list, visible_only
from grader.report.charts import profit_chart, swing_chart
from grader.units import format_money, format_share
from grader.valuation import Offer
from grader.valuation.words import (
    LOT_COLUMNS,
    ROUTE_COLUMNS,
    assumed_lines,
    at_price,
    at_price_lines,
    break_even_words,
    budget_lines,
    each_words,
    highest_words,
    lot_rows,
    needs_lines,
    question_rows,
    route_rows,
    routes_heading,
    summary_lines,
)


def show_offer(offer: Offer) -> None:
    """Show one offer."""
    currency = offer.assumptions.currency
    st.metric("Highest price worth paying", highest_words(offer))
    accepted = format_share(offer.assumptions.accepted_here)
    if offer.reason is None:
        each = each_words(offer)
        st.markdown(as_typed(f"Best way: {offer.way.title}." + (f" That is {each}." if each else "")))
    st.markdown(as_typed(f"You accept a {accepted} chance of a loss."))
    if offer.reason is not None:
        caution(offer.reason)
    left, right = st.columns(2)
    with left:
        st.metric("Break-even price (no profit on average)", break_even_words(offer))
    if offer.asking is not None:
        with right:
            st.metric(
                f"Chance of a loss at {as_typed(format_money(offer.asking.price, currency))}",
                format_share(offer.asking.chance_of_loss),
            )
    if offer.lot:
        table(LOT_COLUMNS, lot_rows(offer))
    table(("", ""), summary_lines(offer, mass_unit()))
    shown = at_price(offer)
    if shown is not None:
        title, at = shown
        heading(title)
        table(("", ""), at_price_lines(at, offer))
    heading(routes_heading(offer))
    table(ROUTE_COLUMNS, route_rows(offer))
    needs = needs_lines(offer)
    if needs:
        heading("The work, as planned")
        table(("", ""), needs)
    heading("Profit against price")
    draw(profit_chart(offer))
    asked = question_rows(offer)
    if asked:
        heading("Worth asking before you buy")
        told_list(asked)
    lines = budget_lines(offer)
    if lines:
        heading("What moves the profit most")
        bars([(title, share, f"profit {swing}" if swing else "") for title, share, swing in lines])
        heading("How far each input swings the profit")
        swings = swing_chart(offer)
        if swings is not None:
            draw(swings)
    with st.expander("What was assumed"):
        table(("", ""), assumed_lines(offer))
    for item in offer.notices:
        caution(item)
    reminder, *others = offer.statements
    for statement in others:
        st.info(as_typed(statement), icon=":material/health_and_safety:")
    visible_only(reminder)
