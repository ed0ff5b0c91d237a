"""The user's currency, and the saved exchange rates."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st

from app.common.show import problem
from calibration.errors import GraderError
from grader.own_money import OwnMoney, keep_own_money, load_own_money
from grader.places import own_money_path
from grader.units import in_currency, parse_exchange
from grader.valuation import Assumptions, load_assumptions
from grader.valuation.exchange import in_own_currency

_RATE = "exchange-rate"


def in_chosen_currency(base: Assumptions, chosen: str) -> Assumptions:
    """The shipped examples in the currency of the gold price that was entered, or in the chosen one.

    Args:
        base: the figures; those of the user's own sets stay as they are.
        chosen: the currency chosen on the page; empty for the saved one.
    """
    spot = in_currency(str(st.session_state.get("spot") or ""), chosen)
    return in_own_currency(base, _own_money(chosen), (spot,))


def ask_rate(chosen: str) -> bool:
    """Ask for the rate that converts the examples to the chosen currency; saved with today's date.

    Returns:
        Whether the saved rate changed.
    """
    examples = load_assumptions().currency
    if not chosen or chosen == examples:
        return False
    money = _own_money(chosen)
    known = money.rate(examples, chosen)
    typed = st.text_input(
        f"What 1 {examples} costs in {chosen}",
        key=_RATE,
        placeholder=f"such as 0.92; the example figures are in {examples}" if known is None else str(known),
        persist_state="session",
    )
    if not typed:
        return False
    is_whole = "=" in typed or "/" in typed
    text = typed if is_whole else f"1 {examples} = {in_currency(typed, chosen)}"
    try:
        rate = parse_exchange(text, date.today())
        is_new = money.rate(rate.of, rate.price.currency) != rate
        if is_new:
            keep_own_money(money.with_rate(rate), own_money_path())
        st.caption(f"Kept: {rate}. The example figures carry over at it.")
    except GraderError as error:
        problem(error)
        return False
    return is_new


def _own_money(chosen: str) -> OwnMoney:
    """The saved currency and rates; empty if the file is damaged, with an error."""
    try:
        kept = load_own_money(own_money_path())
    except GraderError as error:
        problem(error)
        kept = OwnMoney()
    return replace(kept, currency=chosen or kept.currency)
