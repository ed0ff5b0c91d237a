"""Value: from gold with a range to the most to pay."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import streamlit as st

from app.bench.report import planned_before
from app.common.doubts import believed
from app.common.own_money import in_chosen_currency
from app.common.preferences import currency
from app.common.show import as_typed, problem, remark
from app.lots.desk import current_lot, lot_name
from app.lots.keep import all_lots, ask_to_keep, lot_contents, say_what_was_done, write_log
from app.lots.lot_folder import LotFolder
from app.lots.report import NO_PLANS, report_downloads, report_of
from app.lots.shelf import Kept, kept
from app.lots.way import link, show_next, show_way
from app.value.form import ask_money
from app.value.lot_form import ask_lot
from app.value.offer import show_offer
from calibration.errors import UsageError
from grader.log import LoggedLot
from grader.lot import estimate_lot
from grader.lot_offer import asking_price, offer_for
from grader.measured import Measured, usable
from grader.places import assumptions_folder
from grader.report.lot_report import LotReport
from grader.units import format_money
from grader.valuation import Assumptions, Offer, load_set, sets_in
from grader.valuation.doubts import price_doubts
from grader.valuation.lot_doubts import lot_doubts
from grader.valuation.words import highest_words

_FILE = "value/page.py"
_HERE, _LOGGED = "The photos measured here", "A lot in the log"


@dataclass(frozen=True)
class _Source:
    """What is valued: photos of this browser session, or a lot of the log."""

    measured: list[Measured]
    photos: tuple[Kept, ...] = ()
    lot: LoggedLot | None = None


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("What is it worth?", anchor=False)
    try:
        source = _source()
        if source is None:
            return
        lot = ask_lot(source.measured)
        base = _base()
        typed = ask_money(base)
        if lot is None or typed is None:
            return
        figures, estimate = typed.assumptions(base), estimate_lot(lot)
        asking = asking_price(typed.asking)
        prices_meant = believed(price_doubts(figures), "spot")
        if not (believed(lot_doubts(estimate, figures, asking)) and prices_meant):
            return
        offer = offer_for(estimate, figures, asking)
    except UsageError as error:
        problem(error)
        return
    if source.lot is None:
        _note(offer)
    st.divider()
    show_offer(offer)
    _report(source, offer)
    with st.expander("Keep this lot", icon=":material/save:", expanded=True):
        _keep(source, offer.as_json())
    show_next(_FILE)


def _report(source: _Source, offer: Offer) -> None:
    """The report to take along, with what the bench last planned for these photos."""
    title = source.lot.name if source.lot is not None else lot_name()
    plans = planned_before(source.measured)
    if plans is not None:
        remark("The report has the cuts and the batch that were last planned on the page Bench.")

    def report(lot: LotFolder | None) -> LotReport:
        return report_of(title, source.measured, offer, lot, NO_PLANS if plans is None else plans(lot is not None))

    report_downloads(report, current_lot())


def _note(offer: Offer) -> None:
    """What the lot in progress is worth, for its line at the top of every page."""
    said = [f"worth at most {highest_words(offer)}"]
    if offer.asking is not None:
        said.insert(0, f"asking {format_money(offer.asking.price, offer.assumptions.currency)}")
    if current_lot().facts().get("said") != said:
        current_lot().set_facts(said=said)


def _source() -> _Source | None:
    here = tuple(done for done in kept().values() if done.has_gold)
    lots = all_lots()
    ways = [way for way, there in ((_HERE, here), (_LOGGED, lots)) if there]
    if not ways:
        st.markdown("There is nothing to value yet: measure a photo first.")
        link("measure/page.py", "Measure a photo", ":material/arrow_forward:")
        return None
    way = st.radio("What do you want to value?", ways, key="value-what") if len(ways) > 1 else ways[0]
    if way == _HERE:
        names = ", ".join(done.name for done in here)
        st.markdown(f"{len(here)} {'photo' if len(here) == 1 else 'photos'}: {as_typed(names)}")
        return _Source(usable((done.name, done.measured) for done in here), here)
    lot = st.selectbox("Lot", lots, format_func=lambda lot: lot.name, key="value-lot")
    contents = lot_contents(lot)
    if contents is None:
        return None
    if not contents.estimates:
        st.markdown("This lot holds no estimate yet: measure its photos and keep them in it.")
        return None
    estimates = contents.latest_estimates()
    return _Source(usable((f"estimate {e.id}", e.measured) for e in estimates), lot=lot)


def _base() -> Assumptions:
    """The figures that hold where nothing is typed: the shipped examples, or a set of the user's own."""
    sets = list(sets_in(assumptions_folder()))
    chosen = None
    if sets:
        chosen = st.selectbox(
            "Your figures",
            [*sets, None],
            format_func=lambda name: name if name is not None else "The shipped examples",
            key="assumptions",
            persist_state="session",
        )
    return in_chosen_currency(load_set(chosen, assumptions_folder()), currency())


def _keep(source: _Source, offer: dict[str, Any]) -> None:
    lot = source.lot
    if lot is None:
        ask_to_keep("valued", source.photos, offer)
        return
    if st.button(f"Keep this offer in lot {as_typed(lot.name)}", icon=":material/save:"):
        write_log(lambda log: f"Offer {log.add_offer(lot.id, offer).id} kept in lot {lot.name}.")
    say_what_was_done()


if __name__ == "__main__":
    show()
