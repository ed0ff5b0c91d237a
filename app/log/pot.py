"""The pot: waiting gold of several lots, and one settlement divided among them."""

from __future__ import annotations

import streamlit as st

from app.common.preferences import currency_hint, mass_unit
from app.common.show import remark, table
from app.log.money import entry_of
from app.log.writing import fresh, write
from app.lots.asking import sure_of
from calibration.notices import Notice
from grader.learn.pot import NOTE, TITLE, WaitingGold, split_settlement, waiting_gold, waiting_gold_table
from grader.learn.questions import Asker
from grader.log import Contents, Log, NewMoney

_FORM = "pot"


def show_pot(contents: Contents) -> None:
    """Show the waiting gold and the form; nothing if no gold waits."""
    waiting = waiting_gold(contents)
    if not waiting:
        return
    with st.expander(f"{TITLE} ({len(waiting)})", icon=":material/savings:"):
        shown = waiting_gold_table(waiting, mass_unit())
        table(shown.columns, shown.rows)
        remark(NOTE)
        _settle(waiting)


def _settle(waiting: tuple[WaitingGold, ...]) -> None:
    with st.form(fresh(_FORM), border=False):
        amount = st.text_input("Payable for it before charges", placeholder=f"910 {currency_hint()}")
        refiner = st.text_input("Refiner of it")
        charges = st.text_input("Charges kept back for it, if any", placeholder=f"24 {currency_hint()}")
        gold = st.text_input("Gold delivered, if not all that waits", placeholder="4.2 g")
        chosen = st.multiselect(
            "Lots whose gold it was", waiting, default=list(waiting), format_func=lambda each: each.name
        )
        day = st.date_input("Day of the settlement", value="today")

        def entry() -> NewMoney:
            return entry_of("settlement", amount, refiner, charges, gold, day=day)

        def put(log: Log, new: NewMoney) -> str:
            count = len(log.add_shares(split_settlement(new, chosen)))
            return f"Settlement shared out to {count} {'lot' if count == 1 else 'lots'}."

        def ask(asker: Asker, new: NewMoney) -> tuple[Notice, ...]:
            return asker.of_money(new)

        about = tuple(each.lot_id for each in chosen)
        sure = sure_of(fresh(_FORM))
        if st.form_submit_button("Share out the settlement", disabled=not waiting) and chosen:
            write(_FORM, entry, put, ask, about, sure=sure)
