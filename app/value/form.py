"""The form: the amounts, the gold price, the asking price; everything else is behind a fold."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date

import streamlit as st

from app.common.show import problem, remark
from app.value.entered import Entered, amount_key, entered, said_of_price
from app.value.listing_box import ask_listing, from_words
from app.value.over_bids import ask_over
from app.value.refiner_form import TERMS, ask_terms
from calibration.errors import UsageError
from grader.listing_text import Found
from grader.valuation import Assumptions


class _Fields:
    """Text fields, each with its error below."""

    def __init__(self, wrong: Mapping[str, UsageError], listing: Mapping[str, Found]) -> None:
        self._wrong, self._listing = wrong, listing

    def ask(self, label: str, key: str, placeholder: str) -> None:
        st.text_input(label, key=key, placeholder=placeholder, persist_state="session")
        if key in self._listing:
            remark(from_words(self._listing[key]))
        self.complain(key)

    def complain(self, key: str) -> None:
        if key in self._wrong:
            problem(self._wrong[key])


def draw_form(base: Assumptions, found: Entered, parts: Sequence[str], money: str, asked: Callable[[], None]) -> None:
    """The listing's text, the fields and the button.

    Args:
        base: the figures that the entries replace.
        found: the entries of the fields, with their errors.
        parts: of the lot.
        money: a currency for examples.
        asked: called when the button is pressed.
    """
    fields = _Fields(found.wrong, ask_listing(parts[0]))
    st.session_state.setdefault("spot-date", date.today())
    with st.form("value", border=False):
        for part in parts:
            label = "How much is for sale" if len(parts) == 1 else f"How much is for sale: {part}"
            fields.ask(label, amount_key(part), "such as 3 kg, or 30 boards")
        fields.ask("Gold price today", "spot", f"such as 2650, or 85 {money}/g")
        if said_of_price():
            remark(said_of_price())
        left, right = st.columns(2)
        with left:
            fields.ask("Asking price, if there is one", "asking", f"120, or 8 {money}/kg")
        with right:
            fields.ask("Postage, if it is said", "postage", "such as 12")
        st.form_submit_button("What can I pay?", type="primary", width="stretch", on_click=asked)
        in_sight = {*map(amount_key, parts), "spot", "asking", "postage"}
        of_terms = set(found.wrong) & set(TERMS)
        has_wrong = not set(found.wrong) <= in_sight | of_terms
        with st.expander(
            "Chance of a loss, your costs, other ways to sell", expanded=has_wrong, icon=":material/tune:"
        ):
            _ask_process(base, fields, money)
            _ask_sales(fields, money)
        ask_terms(fields.ask, money, expanded=bool(of_terms))


def folded_words(found: Entered, parts: Sequence[str]) -> str:
    """The form in one line."""
    amounts = [text for part in parts if (text := entered(amount_key(part)))]
    asking = [] if found.asking is None else [f"asking {found.asking}"]
    spot = [] if found.spot is None else [found.spot.text]
    return " · ".join([*(amounts or ["the boards in the photos"]), *spot, *asking, "change"])


def _ask_process(base: Assumptions, fields: _Fields, money: str) -> None:
    remark(
        "A figure may be one value (93 %), two (85..98 %), or least..most likely..greatest (80..93..98 %). "
        "What you leave empty is taken from examples, and the result says so."
    )
    left, right = st.columns(2)
    with left:
        loss = f"{base.accepted_loss:.0%} if left empty".replace("%", " %")
        fields.ask("Chance of a loss that you accept", "accepted-loss", loss)
    with right:
        st.date_input("Day of the gold price", key="spot-date", persist_state="session")
    ask_over(fields.ask)
    fields.ask("Time until the gold is sold", "weeks", "such as 6 weeks")
    fields.ask("Share of the plated gold that you get out", "recovery", "such as 85..94..99 %")
    left, right = st.columns(2)
    with left:
        fields.ask("Your own hours for stripping", "hours", "such as 2..4..8 h")
    with right:
        fields.ask("What an hour of yours is worth", "rate", f"such as 15 {money}/h")
    st.text_area(
        "Costs, one a line",
        key="costs",
        placeholder=f"refining = 5..20..60 {money}\nwaste = 5 {money}/l x 2..4 l\npurchase: shipping = 15 {money}",
        persist_state="session",
    )
    fields.complain("costs")
    left, right = st.columns(2)
    with left:
        fields.ask("Marketplace's fee on the price", "fee", "0 %")
    with right:
        fields.ask("Tax on price and fee", "tax", "0 %")


def _ask_sales(fields: _Fields, money: str) -> None:
    st.markdown("**Selling by weight instead**")
    fields.ask("Price for the boards as they are", "whole-price", f"such as 3..8 {money}/kg")
    left, right = st.columns(2)
    with left:
        fields.ask("Price for trimmed pieces", "trim-price", f"such as 40..90 {money}/kg")
    with right:
        fields.ask("Trimmed pieces, share of the mass", "trim-share", "such as 4..8..15 %")
    fields.ask(
        "Price for what is left of trimmed boards", "bodies-price", f"such as 1..3 {money}/kg, or 0 {money}/kg"
    )
