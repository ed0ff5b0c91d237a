"""A refiner's terms: its payment for gold, the dates and the charges. Each field may be left empty."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.common.show import remark

# with_given uses the names of these fields with underscores
MONEY = ("per-gram", "minimum", "lot-fee", "assay", "treatment")
TERMS = ("payable", *MONEY, "melt-loss", "least-gold", "pot", "interest", "paid-at-once", "rest-after")
Ask = Callable[[str, str, str], None]


def ask_terms(ask: Ask, money: str, *, expanded: bool) -> None:
    """Draw the fields behind a fold.

    Args:
        ask: draws a field with a label, a key and a placeholder, and its error below.
        money: a currency for examples.
        expanded: whether the fold is open at first.
    """
    with st.expander("Your refiner's terms", expanded=expanded, icon=":material/request_quote:"):
        ask("Share of the gold price that your buyer pays", "payable", "such as 93 %, or 0 g: 85 %; 20 g: 92 %")
        _pair(
            ask,
            ("Refiner's charge per gram of gold", "per-gram", f"such as 0.5..2 {money}"),
            ("Refiner's minimum charge", "minimum", f"such as 50..150 {money}"),
        )
        _pair(
            ask,
            ("Fee for a lot", "lot-fee", f"such as 50..100 {money}"),
            ("Assay", "assay", f"such as 30..80 {money}"),
        )
        ask("Charge by the weight that you send in", "treatment", f"such as 200 {money}/kg")
        remark("With one of these charges, the example's share of refining charges is left out.")
        _pair(
            ask,
            ("Gold lost in melting", "melt-loss", "such as 0.5 %"),
            ("Least gold that is settled", "least-gold", "such as 10 g"),
        )
        ask("Gold of other lots that waits for the same settlement", "pot", "such as 60 g")
        st.markdown("**When you are paid**")
        _pair(
            ask,
            ("Paid at the settlement", "paid-at-once", "all, or such as 70 %"),
            ("The rest comes after", "rest-after", "such as 4 weeks"),
        )
        ask("What your money costs a year until then", "interest", "nothing, or such as 8 %")


def _pair(ask: Ask, one: tuple[str, str, str], other: tuple[str, str, str]) -> None:
    left, right = st.columns(2)
    with left:
        ask(*one)
    with right:
        ask(*other)
