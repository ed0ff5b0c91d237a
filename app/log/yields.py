"""The form for weighed gold."""

from __future__ import annotations

import streamlit as st

from app.log.writing import fresh, write
from app.lots.asking import sure_of
from app.lots.keep import all_lots
from calibration.notices import Notice
from grader.learn.questions import Asker
from grader.log import Log, LoggedLot, NewYield, checked
from grader.units import parse_fineness, parse_weighed_mg

_KNOWN = {"assumed": "assumed", "found": "found by a test of my own", "assayed": "assayed by a laboratory"}


def yield_form(lot: LoggedLot) -> None:
    """Draw the form for the mass and fineness of gold."""
    with st.form(fresh("yield"), border=False):
        mass = st.text_input("Gold as weighed", placeholder="1.25 g")
        uncertainty = st.text_input("Standard uncertainty of that mass, if known", placeholder="0.01 g")
        fineness = st.text_input("Fineness, if known", placeholder="995, 0.995 or 99.5 %")
        known = st.selectbox("The fineness is", list(_KNOWN), format_func=lambda word: _KNOWN[word])
        copies = st.number_input(
            "How many times the photographed boards went in", min_value=0.01, value=1.0, step=1.0, format="%g"
        )
        others = st.multiselect(
            "Other lots that went in with it, all their photographed boards once",
            [other for other in all_lots() if other.id != lot.id],
            format_func=lambda other: other.name,
        )
        carried_in = st.text_input("Fine gold in it that came from elsewhere, if any", placeholder="12 mg")
        lost = st.text_input("Fine gold lost by accident or left behind, if any", placeholder="12 mg")
        note = st.text_input("Note")
        day = st.date_input("Day of weighing", value="today")
        who = st.text_input("Recorded by")

        def entry() -> NewYield:
            return checked(
                NewYield,
                mass_mg=parse_weighed_mg(mass),
                uncertainty_mg=parse_weighed_mg(uncertainty) if uncertainty.strip() else None,
                fineness=parse_fineness(fineness) if fineness.strip() else None,
                fineness_known=known if fineness.strip() else None,
                carried_in_mg=parse_weighed_mg(carried_in) if carried_in.strip() else 0.0,
                lost_mg=parse_weighed_mg(lost) if lost.strip() else 0.0,
                note=note,
                weighed_on=day,
                who=who,
            )

        lots: dict[int, float] = {lot.id: copies, **{other.id: 1.0 for other in others}}

        def put(log: Log, new: NewYield) -> str:
            log.add_yield(lot.id, new, {number: times for number, times in lots.items()})  # noqa: C416
            return f"Yield of {lot.name} added."

        def ask(asker: Asker, new: NewYield) -> tuple[Notice, ...]:
            return asker.of_yield(new, lots)

        sure = sure_of(fresh("yield"))
        if st.form_submit_button("Add the yield"):
            write("yield", entry, put, ask, lots, sure=sure)
