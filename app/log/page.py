"""Log: lots and what is in them, purchases and yields."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import streamlit as st

from app.common.preferences import currency, currency_hint, mass_unit
from app.common.show import cautions, heading, plain, problem, table
from app.lots.asking import ask_first, sure_of
from app.lots.keep import all_lots, kept_as, lot_contents, read_log, say_what_was_done, write_log
from app.lots.way import WAYS, chosen_way, show_next, show_way
from calibration.errors import UsageError
from calibration.notices import Notice
from grader.cautions import lines_for
from grader.learn.questions import Asker
from grader.log import Log, Lot, NewLot, NewPurchase, NewYield, checked, to_json
from grader.log.batch_tables import batches_table, waiting_table
from grader.log.tables import entry_tables, lots_table
from grader.units import in_currency, parse_fineness, parse_mass_g, parse_money, parse_weighed_mg

_FILE, _STARTED = "log/page.py", "desk-started"
_T = TypeVar("_T")

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
    lot = st.selectbox("Lot", lots, index=at, format_func=lambda lot: lot.name, key="log-lot")
    _contents(lot)
    job = chosen_way()
    with st.expander("Record what you paid", icon=":material/shopping_cart:", expanded=job is WAYS["listing"]):
        _purchase(lot)
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
    overview = lots_table(contents, mass_unit())
    # a phone has no room for the empty columns
    used = [n for n, _ in enumerate(overview.columns) if any(row[n] for row in overview.rows) and n > 0]
    table([overview.columns[n] for n in used], [[row[n] for n in used] for row in overview.rows])
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


def _contents(lot: Lot) -> None:
    contents = lot_contents(lot)
    if contents is None:
        return
    about = [
        f"{label}: {text}"
        for label, text in (("Seller", lot.seller), ("Boards", lot.part), ("Note", lot.note))
        if text
    ]
    if about:
        st.markdown(plain(". ".join(about)))
    tables = entry_tables(contents, mass_unit())
    if not tables:
        st.markdown("Nothing was kept in this lot yet.")
    for each in tables:
        heading(each.title)
        table(each.columns, each.rows)


def _start_lot() -> None:
    with st.form(_fresh("lot"), border=False):
        name = st.text_input("Name", placeholder="Shelf 3")
        seller = st.text_input("Seller, as you like to write it")
        part = st.text_input("Kind of boards", placeholder="memory strips")
        note = st.text_input("Note")
        if st.form_submit_button("Start this lot"):
            _write("lot", lambda: checked(NewLot, name=name, seller=seller, part=part, note=note), _add_lot)


def _add_lot(log: Log, new: NewLot) -> str:
    lot = log.add_lot(new)
    st.session_state[_STARTED] = lot.id
    return f"Lot {lot.name} started."


def _purchase(lot: Lot) -> None:
    with st.form(_fresh("purchase"), border=False):
        price = st.text_input("Total paid to the seller", placeholder=f"120 {currency_hint()}")
        mass = st.text_input("Mass of the boards, if known", placeholder="1 lb 2 oz")
        count = st.number_input("Number of boards, if known", min_value=1, value=None, step=1)
        day = st.date_input("Day", value="today")

        def entry() -> NewPurchase:
            money = parse_money(in_currency(price, currency()))
            return checked(
                NewPurchase,
                price=money.amount,
                currency=money.currency,
                mass_g=parse_mass_g(mass) if mass.strip() else None,
                count=count,
                bought_on=day,
            )

        def write(log: Log, new: NewPurchase) -> str:
            log.add_purchase(lot.id, new)
            return f"Purchase of {lot.name} recorded."

        def ask(asker: Asker, new: NewPurchase) -> tuple[Notice, ...]:
            return asker.of_purchase(new, lot)

        sure = sure_of(_fresh("purchase"))
        if st.form_submit_button("Record the purchase"):
            _write("purchase", entry, write, ask, lot.id, sure=sure)


def _yield(lot: Lot) -> None:
    with st.form(_fresh("yield"), border=False):
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

        def write(log: Log, new: NewYield) -> str:
            log.add_yield(lot.id, new, {number: times for number, times in lots.items()})  # noqa: C416
            return f"Yield of {lot.name} recorded."

        def ask(asker: Asker, new: NewYield) -> tuple[Notice, ...]:
            return asker.of_yield(new, lots)

        sure = sure_of(_fresh("yield"))
        if st.form_submit_button("Record the yield"):
            _write("yield", entry, write, ask, lots, sure=sure)


def _fresh(form: str) -> str:
    """The form's key: another one after each entry, so that its fields are empty again, but not after an error."""
    return f"{form}-{st.session_state.get(f'{form}-entries', 0)}"


def _write(
    form: str,
    entry: Callable[[], _T],
    write: Callable[[Log, _T], str],
    ask: Callable[[Asker, _T], tuple[Notice, ...]] | None = None,
    about: object = None,
    *,
    sure: bool = False,
) -> None:
    try:
        new = entry()
    except UsageError as error:
        problem(error)
        return
    if ask is not None:
        ask_first(_fresh(form), (new, about), lambda asker: ask(asker, new), sure=sure)
    if write_log(lambda log: write(log, new)):
        st.session_state[f"{form}-entries"] = st.session_state.get(f"{form}-entries", 0) + 1
        st.rerun()


if __name__ == "__main__":
    show()
