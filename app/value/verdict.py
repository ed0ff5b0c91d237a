"""The answer in one card: the bid, the way, the odds, the reasons, and the one thing to find out first."""

from __future__ import annotations

import html

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.common.show import remark
from grader.units import together
from grader.valuation import Offer
from grader.valuation.words import each_words, highest_words, loss_words, over_many_words, question_rows, why_words

_SELLER = "Ask "


def show_verdict(offer: Offer) -> DeltaGenerator:
    """Draw the card; return the place in it for the kind of boards."""
    with st.container(key="verdict", border=True):
        st.metric("Highest price worth paying", highest_words(offer))
        lines = []
        if offer.reason is None:
            each = each_words(offer)
            if each:
                lines.append(("each", each))
            lines.append(("way", f"Best way: {offer.way.title}."))
        if offer.reason is None or offer.asking is not None:
            lines.append(("odds", f"{loss_words(offer)}."))
        why = why_words(offer) if offer.reason is None else offer.reason.message
        if lines:  # empty where nothing should be bid and nothing was asked
            st.html("".join(f'<p class="{line}">{html.escape(together(text))}</p>' for line, text in lines))
        kind = st.container(key="kind-of-boards")
        st.html(f'<p class="why">{html.escape(together(why))}</p>')
        if offer.reason is not None and offer.over_many.at.price > 0:
            st.html(f'<p class="why">{html.escape(together(over_many_words(offer)))}</p>')
        ask = first_question(offer)
        if ask is not None:
            whom, question, worth = ask
            st.html(
                f'<p class="ask"><strong>{whom}:</strong> {html.escape(question)} '
                f"<span>({html.escape(together(worth))})</span></p>"
            )
        remark(offer.statements[0])
    return kind


def first_question(offer: Offer) -> tuple[str, str, str] | None:
    """The one thing to ask the seller or to find out: its name, its words, and the value of the answer."""
    rows = question_rows(offer)
    of_seller = [row for row in rows if row[0].startswith(_SELLER)]
    if of_seller:
        return "Ask the seller", _without_ask(of_seller[0][0]), of_seller[0][1]
    return ("Find out first", *rows[0]) if rows else None


def _without_ask(text: str) -> str:
    """A question without its first word, which already stands before it."""
    return text.removeprefix(_SELLER)
