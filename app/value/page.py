"""Value: from the seller's pictures to the highest price. The answer comes first; the form folds to one line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from app.bench.report import planned_before
from app.common.arrive import arrive
from app.common.doubts import believed
from app.common.own_money import ask_rate, in_chosen_currency
from app.common.preferences import chosen_currency
from app.common.show import as_typed, problem, remark
from app.lots.desk import current_lot, lot_name
from app.lots.keep import all_lots, ask_to_keep, lot_contents, say_what_was_done, write_log
from app.lots.kept_boards import as_noted, boards_of, noted_in
from app.lots.learned import with_what_was_learned
from app.lots.lot_folder import LotFolder
from app.lots.report import NO_PLANS, report_downloads, report_of
from app.lots.sheets import Records, kept_sheet
from app.lots.shelf import Kept, kept
from app.lots.way import link, show_next, show_way
from app.photos.adding import ask_photos, ask_sample, measure_what_waits
from app.photos.pane import ask_scale, choose_photo, show_overlay, show_waiting
from app.photos.together import offer_together
from app.value.entered import Entered, entered, read_form, write_in_full
from app.value.form import draw_form, folded_words
from app.value.kind_card import show_kind
from app.value.lot_form import ShownPhotos, ask_boards, ask_lot_photos, lot_as_shown
from app.value.offer import show_cautions, show_folds
from app.value.planned import TOLD, Planned, planned_for
from app.value.verdict import show_verdict
from calibration.errors import UsageError
from grader.log import LoggedLot
from grader.lot import Lot, estimate_lot
from grader.lot_offer import offer_for
from grader.measured import Measured, usable
from grader.places import assumptions_folder
from grader.report.lot_report import LotReport
from grader.units import AskingPrice, format_money
from grader.valuation import Assumptions, Offer, load_set, sets_in
from grader.valuation.doubts import price_doubts
from grader.valuation.lot_doubts import lot_doubts
from grader.valuation.words import highest_words

_FILE = "value/page.py"
_HERE, _LOGGED = "The photos measured here", "A lot in the log"
_ASKED, _JUST_ASKED, _OFFER = "value-asked", "desk-value-just-asked", "desk-offer"
_ALL_BOARDS = ("the boards",)


@dataclass(frozen=True)
class _Source:
    """The object of the valuation: photos of the lot in progress, or a lot of the log.

    ``together``: the boards that several photos show, each once; the measurements are then of boards, not of photos.
    ``noted``: what a lot of the log says of them, for its next offer.
    """

    measured: list[Measured]
    photos: tuple[Kept, ...] = ()
    lot: LoggedLot | None = None
    together: Records | None = None
    noted: Mapping[str, Any] = field(default_factory=dict)


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("What is it worth?", anchor=False)
    lots = all_lots()
    shelf = list(reversed(kept().values()))
    if _is_logged(lots):
        _offer_logged(lots)
        source = _logged(lots)
        if source is not None:
            _answer(source)
        return
    if not shelf and not current_lot().waiting():
        _begin()
        _offer_logged(lots)
        return
    with st.container(key="panes"):
        left, right = st.columns([6, 5], gap="large")
    here = tuple(done for done in kept().values() if done.has_gold)
    source = _Source(usable((done.name, done.measured) for done in here) if here else [], here)
    with left:
        picture = _photos(shelf)
        once = offer_together()
        if once is not None:
            source = _Source(list(once.each), here, together=once)
    with right:
        if not _answer(source):
            _offer_logged(lots)
    with picture:
        if not shelf:  # last: reading a large picture takes a while
            show_waiting(current_lot().waiting())


def _begin() -> None:
    """Without a photo: show how to get one, and the field for it."""
    st.markdown("Save the seller's pictures and add them here: whole boards, their contacts sharp.")
    came = ask_photos("The seller's pictures")
    with st.expander("Try a sample photo", icon=":material/imagesmode:"):
        came = ask_sample() or came
    measure_what_waits()
    if came:
        arrive(".st-key-measuring")
        st.rerun()


def _photos(shelf: Sequence[Kept]) -> DeltaGenerator:
    """Show the photo with the findings and with what is still missing; return the place for one not measured yet."""
    place = st.container()
    if shelf:
        chosen = choose_photo(shelf)
        show_overlay(chosen)
        ask_scale(chosen)
    measure_what_waits()
    return place


def _about_photos(source: _Source) -> ShownPhotos:
    """Ask what the photos show, and offer to add more of them."""
    shown = ShownPhotos()
    if source.measured:
        shown = ask_boards(source.together) if source.together is not None else ask_lot_photos(source.measured)
    if source.lot is None:
        with st.expander("More pictures, or look closer", icon=":material/add_a_photo:", key="more-pictures"):
            ask_photos("Add pictures")
            link("measure/page.py", "What was found, and how to correct it", ":material/search:")
    return shown


def _answer(source: _Source) -> bool:
    """Draw card, form and folds; the form is read before it is drawn, because the card stands above it.

    Returns:
        Whether there is an answer.
    """
    card = st.container(key="answer")
    fold, behind, photos, end = (st.container() for _ in range(4))
    with photos:
        shown = _about_photos(source)
    base = _base()
    parts = shown.parts or _ALL_BOARDS
    found = read_form(base, parts)
    offer = None
    is_asked = entered(_ASKED) != "" and not found.wrong and shown.are_good
    with card:
        if is_asked and source.measured:
            offer = _offer(base, found, source, shown)
        elif is_asked and not source.measured:
            st.info("The bid comes as soon as a photo is measured.", icon=":material/hourglass_top:")
        elif not shown.are_good:
            st.warning("Something that was typed below about the photos cannot be read.", icon=":material/warning:")
    label = folded_words(found, parts) if offer is not None else "How much, and at what price?"
    with (
        fold,
        st.container(key="what-is-offered"),
        # without a key: each new label starts a new fold, open or closed
        st.expander(label, expanded=offer is None, icon=":material/edit_note:"),
    ):
        _ask_set()
        draw_form(base, found, parts, chosen_currency() or base.currency, _go)
    if offer is None:
        if (source.measured or found.wrong) and st.session_state.pop(_JUST_ASKED, False):
            arrive(".st-key-answer [data-testid=stAlert], .st-key-what-is-offered [data-testid=stAlert]", asked=True)
        return False
    with card:
        kind = show_verdict(offer)
    if st.session_state.pop(_JUST_ASKED, False):
        arrive(".st-key-verdict", asked=True)
    if source.lot is None:
        _note(offer)
    with behind:
        if planned_before(source.measured) is not None:
            remark(TOLD)
        show_folds(offer)
    with end:
        _take_along(source, offer)
        show_cautions(offer)
        show_next(_FILE)
    if shown.photos:
        show_kind(kind, offer, found.assumptions(base), found, shown.photos, source.measured)
    return True


def _go() -> None:
    """After the button was pressed: show the answer from now on, and complete the gold price in its field."""
    st.session_state[_ASKED] = "yes"
    st.session_state[_JUST_ASKED] = True
    with suppress(UsageError):  # reported beside its field
        write_in_full(_base())


def _offer(base: Assumptions, found: Entered, source: _Source, shown: ShownPhotos) -> Offer | None:
    """The offer, or None while a figure is missing or doubted, which is reported."""
    if found.spot is None and base.spot is None:
        st.info("Look up today's gold price and enter it: none is assumed here.", icon=":material/info:")
        return None
    try:
        lot = with_what_was_learned(lot_as_shown(shown.photos, found.amounts, source.measured))
        figures = found.assumptions(base)
        estimate = estimate_lot(lot)
        prices_meant = believed(price_doubts(figures), "spot")
        if not (believed(lot_doubts(estimate, figures, found.asking)) and prices_meant):
            return None
        return _worked_out(lot, figures, found.asking, planned_for(source.measured))
    except UsageError as error:
        problem(error)
        # the missing rate is asked for right there
        if error.code == "example-costs-currency" and ask_rate(str(error.values["currency"])):
            st.rerun()
        return None


def _worked_out(lot: Lot, figures: Assumptions, asking: AskingPrice | None, planned: Planned) -> Offer:
    """Compute the offer; the last one is kept, because it takes a while."""
    known = st.session_state.get(_OFFER)
    if known is not None and known[0] == (lot, figures, asking, planned):
        offer: Offer = known[1]
        return offer
    with st.spinner("Working out the price …"):
        offer = offer_for(estimate_lot(lot), figures, asking, planned.bench, planned.cuts)
    st.session_state[_OFFER] = (lot, figures, asking, planned), offer
    return offer


def _take_along(source: _Source, offer: Offer) -> None:
    """Keep the offer and the report."""
    with st.expander("Keep this lot", icon=":material/save:"):
        _keep(source, offer.as_json())
    with st.popover("Report to take along", icon=":material/description:"):
        _report(source, offer)


def _report(source: _Source, offer: Offer) -> None:
    """Offer the report for download, with the bench's last plans for these photos."""
    title = source.lot.name if source.lot is not None else lot_name()
    plans = planned_before(source.measured)
    if plans is not None:
        remark("The report has the cuts and the batch that were last planned on the page Bench.")

    photos = source.measured if source.together is None else [done.measured for done in source.photos]

    def report(lot: LotFolder | None) -> LotReport:
        return report_of(title, photos, offer, lot, NO_PLANS if plans is None else plans(lot is not None))

    report_downloads(report, current_lot())


def _note(offer: Offer) -> None:
    """Note the value of the lot in progress, for its line at the top of every page."""
    said = [f"worth at most {highest_words(offer)}"]
    if offer.asking is not None:
        said.insert(0, f"asking {format_money(offer.asking.price, offer.assumptions.currency)}")
    if current_lot().facts().get("said") != said:
        current_lot().set_facts(said=said)


def _is_logged(lots: Sequence[LoggedLot]) -> bool:
    """Whether a lot of the log is to be valued."""
    return bool(lots) and st.session_state.get("value-what") == _LOGGED


def _offer_logged(lots: Sequence[LoggedLot]) -> None:
    """Offer the way to a lot of the log, and back."""
    if lots:
        with st.expander("Value a lot of the log", icon=":material/menu_book:"):
            st.radio("What do you want to value?", [_HERE, _LOGGED], key="value-what", persist_state="session")


def _logged(lots: Sequence[LoggedLot]) -> _Source | None:
    lot = st.selectbox("Lot of the log", lots, format_func=lambda lot: lot.name, key="value-lot")
    contents = lot_contents(lot)
    if contents is None:
        return None
    if not contents.estimates:
        st.markdown("This lot holds no estimate yet: measure its photos and keep them in it.")
        return None
    noted = noted_in(contents)
    if (boards := boards_of(noted)) is not None:
        remark("Each board counts once, as when its last offer was kept.")
        return _Source(list(boards.each), lot=lot, together=boards, noted=noted)
    estimates = contents.latest_estimates()
    return _Source(usable((f"estimate {e.id}", e.measured) for e in estimates), lot=lot)


def _base() -> Assumptions:
    """The default figures: the shipped examples, or a set of the user's own."""
    sets = list(sets_in(assumptions_folder()))
    chosen = st.session_state.get("assumptions", sets[0] if sets else None)
    known = chosen if chosen in sets else None
    return in_chosen_currency(load_set(known, assumptions_folder()), chosen_currency())


def _ask_set() -> None:
    """Ask which figures to use; only if the user has sets of their own."""
    sets = list(sets_in(assumptions_folder()))
    if sets:
        st.selectbox(
            "Your figures",
            [*sets, None],
            format_func=lambda name: name if name is not None else "The shipped examples",
            key="assumptions",
            persist_state="session",
        )


def _keep(source: _Source, offer: Mapping[str, Any]) -> None:
    lot = source.lot
    if lot is None:
        sheet = None if source.together is None else kept_sheet(current_lot())
        ask_to_keep("valued", source.photos, {**offer, **({} if sheet is None else as_noted(sheet))})
        return
    document = {**offer, **source.noted}
    if st.button(f"Keep this offer in lot {as_typed(lot.name)}", icon=":material/save:"):
        write_log(lambda log: f"Offer {log.add_offer(lot.id, document).id} kept in lot {lot.name}.")
    say_what_was_done()


if __name__ == "__main__":
    show()
