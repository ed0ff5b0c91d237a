"""The background of an offer, in three folds: ways and odds, its basis, what to mind."""

from __future__ import annotations

import streamlit as st

from app.common.chart import draw_chart
from app.common.preferences import mass_unit
from app.common.show import as_typed, bars, caution, heading, remark, table, told_list
from grader.report.charts import profit_chart
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
    lot_rows,
    needs_lines,
    over_many_words,
    question_rows,
    route_rows,
    routes_heading,
    summary_lines,
)

_MOST_QUESTIONS = 3


def show_folds(offer: Offer) -> None:
    """Draw the three folds, closed."""
    with st.expander("Ways to deal with it, and the odds", icon=":material/alt_route:", key="ways-and-odds"):
        _ways(offer)
    with st.expander("What the price rests on", icon=":material/foundation:", key="rests-on"):
        _basis(offer)
    count = len(offer.notices) + (offer.reason is not None)
    minded = f"What to mind ({count})" if count else "What to mind"
    with st.expander(minded, icon=":material/warning:", key="to-mind"):
        _to_mind(offer)


def _ways(offer: Offer) -> None:
    currency = offer.assumptions.currency
    words = offer.assumptions.rule.words
    st.markdown(as_typed(f"{words[0].upper()}{words[1:]}. {over_many_words(offer)}"))
    left, right = st.columns(2)
    with left:
        st.metric("Break-even price (no profit on average)", break_even_words(offer))
    if offer.asking is not None:
        with right:
            st.metric(
                f"Chance of a loss at {as_typed(format_money(offer.asking.price, currency))}",
                format_share(offer.asking.chance_of_loss),
            )
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
    draw_chart(profit_chart(offer))


def _basis(offer: Offer) -> None:
    if offer.lot:
        table(LOT_COLUMNS, lot_rows(offer))
    table(("", ""), summary_lines(offer, mass_unit()))
    asked = question_rows(offer)[:_MOST_QUESTIONS]
    if asked:
        heading("Worth asking before you buy")
        told_list(asked)
    lines = budget_lines(offer)
    if lines:
        heading("What moves the profit most")
        bars([(title, share, f"profit {swing}" if swing else "") for title, share, swing in lines])
    heading("What was assumed")
    table(("", ""), assumed_lines(offer))


def _to_mind(offer: Offer) -> None:
    for item in (*(() if offer.reason is None else (offer.reason,)), *offer.notices):
        caution(item)


def show_cautions(offer: Offer) -> None:
    """Show the hazards: always in sight, because the ways lead through acids."""
    for statement in offer.statements[1:]:
        remark(statement)
