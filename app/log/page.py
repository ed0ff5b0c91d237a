"""Log: lots and what is in them, money and yields."""

from __future__ import annotations

import streamlit as st

from app.common.preferences import mass_unit
from app.common.show import as_typed, cautions, heading, table
from app.log.money import money_form, purchase_form
from app.log.writing import fresh, write
from app.lots.asking import sure_of
from app.lots.keep import all_lots, kept_as, lot_contents, read_log, say_what_was_done
from app.lots.way import WAYS, chosen_way, show_next, show_way
from calibration.notices import Notice
from grader.cautions import lines_for
from grader.learn.questions import Asker
from grader.log import Contents, Log, LoggedLot, NewLot, NewYield, checked, to_json
from grader.log.batch_tables import batches_table, waiting_table
from grader.log.tables import entry_tables, lots_table
from grader.table import Table
from grader.units import parse_fineness, parse_weighed_mg

_FILE, _STARTED = "log/page.py", "desk-started"

_KNOWN = {"assumed": "assumed", "found": "found by a test of my own", "assayed": "assayed by a laboratory"}


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("Lots in the log", anchor=False)
    say_what_was_done()
    lots = all_lots()
    if not lots:
        st.markdown("No lot yet. Start one here, or keep a measured photo in a new one.")
        with st.expander("Start a lot", icon=":material/add:", expanded=True):
            _start_lot()
        return
    number = st.session_state.pop(_STARTED, None)
    if number is not None:
        st.session_state["log-lot"] = next(lot for lot in lots if lot.id == number)
    at = next((n for n, lot in enumerate(lots) if lot.id == kept_as()), 0)
    lot = st.selectbox("LoggedLot", lots, index=at, format_func=lambda lot: lot.name, key="log-lot")
    contents = lot_contents(lot)
    if contents is None:
        return
    _contents(lot, contents)
    job = chosen_way()
    with st.expander("Record what you paid", icon=":material/shopping_cart:", expanded=job is WAYS["listing"]):
        purchase_form(lot, contents)
    with st.expander("Record a cost, a sale or a settlement", icon=":material/payments:"):
        money_form(lot, contents)
    with st.expander("Record gold that you weighed", icon=":material/scale:", expanded=job is WAYS["weigh"]):
        _yield(lot)
    with st.expander("Start a lot", icon=":material/add:"):
        _start_lot()
    with st.expander(f"All lots ({len(lots)})", icon=":material/menu_book:"):
        _overview()
    _batches()
    show_next(_FILE)


def _overview() -> None:
    contents = read_log(lambda log: log.contents())
    if contents is None:
        return
    _used_columns(lots_table(contents, mass_unit()), first=1)
    st.download_button(
        "Whole log (JSON)",
        lambda: to_json(contents),
        file_name="log.json",
        mime="application/json",
        on_click="ignore",
    )


def _batches() -> None:
    contents = read_log(lambda log: log.contents())
    if contents is None or not contents.batches.batches:
        return
    with st.expander(f"Batches ({len(contents.batches.batches)})", icon=":material/science:"):
        for each in (batches_table(contents, mass_unit()), waiting_table(contents, mass_unit())):
            if each.rows:
                heading(each.title)
                table(each.columns, each.rows)
        cautions(lines_for("batch"))


def _contents(lot: LoggedLot, contents: Contents) -> None:
    about = [
        f"{label}: {text}"
        for label, text in (("Seller", lot.seller), ("Boards", lot.part), ("Note", lot.note))
        if text
    ]
    if about:
        st.markdown(as_typed(". ".join(about)))
    tables = entry_tables(contents, mass_unit())
    if not tables:
        st.markdown("Nothing was kept in this lot yet.")
    for each in tables:
        heading(each.title)
        _used_columns(each)


def _used_columns(each: Table, first: int = 0) -> None:
    """A table from its first column on, without empty ones: a phone has no room for them."""
    used = [n for n in range(first, len(each.columns)) if any(row[n] for row in each.rows)]
    table([each.columns[n] for n in used], [[row[n] for n in used] for row in each.rows])


def _start_lot() -> None:
    with st.form(fresh("lot"), border=False):
        name = st.text_input("Name", placeholder="Shelf 3")
        seller = st.text_input("Seller, as you like to write it")
        part = st.text_input("Kind of boards", placeholder="memory strips")
        note = st.text_input("Note")
        if st.form_submit_button("Start this lot"):
            write("lot", lambda: checked(NewLot, name=name, seller=seller, part=part, note=note), _add_lot)


def _add_lot(log: Log, new: NewLot) -> str:
    lot = log.add_lot(new)
    st.session_state[_STARTED] = lot.id
    return f"Lot {lot.name} started."


def _yield(lot: LoggedLot) -> None:
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
            return f"Yield of {lot.name} recorded."

        def ask(asker: Asker, new: NewYield) -> tuple[Notice, ...]:
            return asker.of_yield(new, lots)

        sure = sure_of(fresh("yield"))
        if st.form_submit_button("Record the yield"):
            write("yield", entry, put, ask, lots, sure=sure)


if __name__ == "__main__":
    show()
