"""The questions about money: the gold price, the buyer, the process, the costs, the ways to sell."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

import streamlit as st

from app.common.preferences import currency, currency_hint
from app.common.show import remark
from app.scale.form import read
from grader.units import in_currency, parse_asking_price, parse_price_per_mass
from grader.units.estimates import amount_estimate
from grader.valuation import Assumptions, SaleTexts, with_given
from grader.valuation.kinds import TYPED

# with_given's names of the fields that hold one text
_PLAIN = frozenset({"payable", "recovery", "fee", "tax", "accepted_loss", "weeks", *TYPED})
# fields of money, whose currency may be left out where one was chosen
_AMOUNTS = ("spot", "asking", "per-gram", "minimum", "rate", "whole-price", "trim-price", "bodies-price")


@dataclass(frozen=True)
class Typed:
    """The form's texts.

    Attributes:
        texts: by ``with_given``'s names; empty fields are left out.
        spot: gold price.
        spot_date: its day.
        costs: lines of costs.
        asking: the seller's price.
        sales: sales by weight.
    """

    texts: Mapping[str, str]
    spot: str | None
    spot_date: date | None
    costs: tuple[str, ...]
    asking: str | None
    sales: Mapping[str, SaleTexts]

    def assumptions(self, base: Assumptions) -> Assumptions:
        """The base with what was typed in its place.

        Raises:
            UsageError: as ``with_given``.
        """
        return with_given(
            base,
            spot=self.spot,
            spot_date=self.spot_date if self.spot is not None else None,
            costs=self.costs or None,
            sales=self.sales,
            **self.texts,
        )


class _Fields:
    """Text fields, each read where it stands."""

    def __init__(self, base: Assumptions) -> None:
        self._base = base
        self.texts: dict[str, str] = {}
        self.all_good = True

    def ask(self, label: str, key: str, placeholder: str, check: Callable[[str], Any] | None = None) -> str | None:
        """One field; its text, or None where it is empty. Without a check it is read as ``with_given`` reads it."""
        name = key.replace("-", "_")

        def as_given(text: str) -> Assumptions:
            entry: dict[str, Any] = {name: text}
            return with_given(self._base, **entry)

        entered = st.text_input(label, key=key, placeholder=placeholder, persist_state="session")
        typed = in_currency(entered or "", currency()) if key in _AMOUNTS else entered
        self.good(typed, check if check is not None else as_given)
        text = (typed or "").strip()
        if text and name in _PLAIN:
            self.texts[name] = text
        return text or None

    def good(self, text: str | None, check: Callable[[str], Any]) -> None:
        """Read a text; an error is shown and remembered."""
        self.all_good = read(text, check)[1] and self.all_good


def ask_money(base: Assumptions) -> Typed | None:
    """The questions; None while the gold price is missing or a field is wrong, which is said beside it."""
    fields, money = _Fields(base), currency_hint()
    st.session_state.setdefault("spot-date", date.today())
    with st.form("value", border=False):
        left, right = st.columns(2)
        with left:
            spot = fields.ask(
                "Gold price today", "spot", f"such as 2650 {money}/ozt or 85 {money}/g", parse_price_per_mass
            )
        with right:
            on = st.date_input("Day of that price", key="spot-date", persist_state="session")
        left, right = st.columns(2)
        with left:
            asking = fields.ask(
                "Asking price, if there is one",
                "asking",
                f"such as 120 {money}, 8 {money}/kg or 2 {money}/board",
                parse_asking_price,
            )
        with right:
            loss = f"{base.accepted_loss:.0%} if left empty".replace("%", " %")
            fields.ask("Chance of a loss that you accept", "accepted-loss", loss)
        with st.expander("Your buyer, your process, your costs", icon=":material/tune:"):
            costs = _ask_process(base, fields)
        with st.expander("Selling by weight instead", icon=":material/weight:"):
            sales = _ask_sales(base, fields)
        st.form_submit_button("What can I pay?", type="primary", width="stretch")
    if spot is None and base.spot is None:
        st.info("Look up today's gold price and enter it: none is assumed here.", icon=":material/info:")
        return None
    return Typed(fields.texts, spot, on, costs, asking, sales) if fields.all_good else None


def _ask_process(base: Assumptions, fields: _Fields) -> tuple[str, ...]:
    money = currency_hint()
    remark(
        "A figure may be one value (93 %), two (85..98 %), or least..most likely..greatest (80..93..98 %). "
        "What you leave empty is taken from examples, and the result says so."
    )
    fields.ask("Share of the gold price that your buyer pays", "payable", "such as 93 %")
    left, right = st.columns(2)
    with left:
        fields.ask("Refiner's charge per gram of gold", "per-gram", f"such as 0.5..2 {money}")
    with right:
        fields.ask("Refiner's minimum charge", "minimum", f"such as 50..150 {money}")
    remark("With either of the two, the example's share of refining charges is left out.")
    fields.ask("Time until the gold is sold", "weeks", "such as 6 weeks")
    fields.ask("Share of the plated gold that you get out", "recovery", "such as 85..94..99 %")
    left, right = st.columns(2)
    with left:
        fields.ask("Your own hours for stripping", "hours", "such as 2..4..8 h")
    with right:
        fields.ask("What an hour of yours is worth", "rate", f"such as 15 {money}/h", amount_estimate)
    lines = st.text_area(
        "Costs, one a line",
        key="costs",
        placeholder=f"refining = 5..20..60 {money}\nwaste = 5 {money}/l x 2..4 l\npurchase: shipping = 15 {money}",
        persist_state="session",
    )
    costs = tuple(line.strip() for line in (lines or "").splitlines() if line.strip())
    fields.good(lines, lambda _: with_given(base, costs=costs))
    left, right = st.columns(2)
    with left:
        fields.ask("Marketplace's fee on the price", "fee", "0 %")
    with right:
        fields.ask("Tax on price and fee", "tax", "0 %")
    return costs


def _ask_sales(base: Assumptions, fields: _Fields) -> dict[str, SaleTexts]:
    def ask(label: str, key: str, placeholder: str, texts: Callable[[str], SaleTexts]) -> str | None:
        name = key.partition("-")[0]
        return fields.ask(label, key, placeholder, lambda text: _with_sale(base, name, texts(text)))

    money = currency_hint()
    whole = ask("Price for the boards as they are", "whole-price", f"such as 3..8 {money}/kg", SaleTexts)
    left, right = st.columns(2)
    with left:
        trim = ask(
            "Price for trimmed pieces", "trim-price", f"such as 40..90 {money}/kg", lambda t: SaleTexts(t, "1 %")
        )
    with right:
        share = ask(
            "Trimmed pieces, share of the mass",
            "trim-share",
            "such as 4..8..15 %",
            lambda t: SaleTexts(f"1 {base.currency}/kg", t),
        )
    bodies = ask(
        "Price for what is left of trimmed boards",
        "bodies-price",
        f"such as 1..3 {money}/kg, or 0 {money}/kg",
        SaleTexts,
    )
    return {"whole": SaleTexts(whole), "trim": SaleTexts(trim, share), "bodies": SaleTexts(bodies)}


def _with_sale(base: Assumptions, name: str, texts: SaleTexts) -> Assumptions:
    """The base with one sale, whose other half is a stand-in: only what was typed is to be read here."""
    return with_given(base, sales={name: texts})
