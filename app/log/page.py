"""Lots: this window's lot with its costs and proceeds, and the list of all lots."""

from __future__ import annotations

import streamlit as st

from app.common.preferences import mass_unit
from app.common.show import as_typed, cautions, heading, table
from app.log.listing import show_list
from app.log.money import money_form, purchase_form
from app.log.pot import show_pot
from app.log.yields import yield_form
from app.lots.desk import current_lot
from app.lots.keep import keep_button, logged_lot, lot_contents, name_changed, read_log, say_what_was_done
from app.lots.shelf import kept
from app.lots.way import WAYS, chosen_way, link, show_next, show_way
from grader.cautions import lines_for
from grader.log import Contents, LoggedLot, to_json
from grader.log.batch_tables import batches_table, waiting_table
from grader.log.tables import entry_tables, lots_table
from grader.table import Table

_FILE = "log/page.py"


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("Keep this lot", anchor=False)
    say_what_was_done()
    logged = logged_lot()
    with st.expander(
        "This lot" if logged is None else f"{as_typed(logged.name)} is kept", icon=":material/save:", expanded=True
    ):
        _ask_about(logged)
    if logged is not None:
        _entries(logged)
    show_list(expanded=logged is None and not current_lot().changed_at)
    _whole_log()
    show_next(_FILE)


def _ask_about(logged: LoggedLot | None) -> None:
    """Ask for the lot's details, with the button that keeps it."""
    about = {"lot-seller": "", "lot-part": "", "lot-note": ""}
    if logged is not None:
        about = {"lot-seller": logged.seller, "lot-part": logged.part, "lot-note": logged.note}
        st.session_state.setdefault("lot-name", logged.name)
    for key, text in about.items():
        st.session_state.setdefault(key, text)
    st.text_input("Its name", key="lot-name", placeholder="Shelf 3", persist_state="session", on_change=name_changed)
    left, right = st.columns(2)
    with left:
        seller = st.text_input("Seller, as you like to write it", key="lot-seller", persist_state="session")
    with right:
        part = st.text_input("Kind of boards", key="lot-part", placeholder="memory strips", persist_state="session")
    note = st.text_input("Note", key="lot-note", persist_state="session")
    photos = [done for done in kept().values() if done.has_gold]
    if keep_button("lot", photos, {"seller": seller or "", "part": part or "", "note": note or ""}):
        st.rerun()  # with all that can be added to a lot that is kept


def _entries(lot: LoggedLot) -> None:
    """Show its entries in the log, and forms for more."""
    contents = lot_contents(lot)
    if contents is None:
        return
    _contents(contents)
    job = chosen_way()
    with st.expander("What you paid", icon=":material/shopping_cart:", expanded=job is WAYS["listing"]):
        purchase_form(lot, contents)
    with st.expander("A cost, a sale or a settlement", icon=":material/payments:"):
        money_form(lot, contents)
    with st.expander("Gold that you weighed", icon=":material/scale:", expanded=job is WAYS["weigh"]):
        yield_form(lot)
    if contents.yields:
        link("learn/page.py", "What its gold taught", ":material/school:")


def _contents(contents: Contents) -> None:
    for each in entry_tables(contents, mass_unit()):
        heading(each.title)
        _used_columns(each)


def _whole_log() -> None:
    contents = read_log(lambda log: log.contents())
    if contents is None or not contents.lots:
        return
    show_pot(contents)
    with st.expander("What is in the log", icon=":material/menu_book:"):
        _used_columns(lots_table(contents, mass_unit()), first=1)
        st.download_button(
            "Whole log (JSON)",
            lambda: to_json(contents),
            file_name="log.json",
            mime="application/json",
            on_click="ignore",
        )
    if not contents.batches.batches:
        return
    with st.expander(f"Batches ({len(contents.batches.batches)})", icon=":material/science:"):
        for each in (batches_table(contents, mass_unit()), waiting_table(contents, mass_unit())):
            if each.rows:
                heading(each.title)
                table(each.columns, each.rows)
        cautions(lines_for("batch"))


def _used_columns(each: Table, first: int = 0) -> None:
    """A table without its number column and without empty columns, to fit on a phone."""
    used = [n for n in range(first, len(each.columns)) if any(row[n] for row in each.rows)]
    table([each.columns[n] for n in used], [[row[n] for n in used] for row in each.rows])


if __name__ == "__main__":
    show()
