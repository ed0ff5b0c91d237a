"""Measure: from photos to the picture and the figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from app.common.arrive import arrive
from app.common.printing import ask_print
from app.common.show import label
from app.lots.desk import current_lot, desk, lot_key
from app.lots.keep import ask_to_keep
from app.lots.learned import ask_properties
from app.lots.measuring import Order
from app.lots.shelf import Kept, kept, take_off
from app.lots.way import WAYS, chosen_way, link, show_next, show_way
from app.measure.ask import ask_about
from app.measure.correct_form import is_correcting, offer_correcting, show_correcting
from app.measure.result import show_all, show_result
from app.photos.adding import ask_photos, ask_sample, measure_what_waits, photos_of_lot
from app.photos.pane import ask_scale, choose_photo, show_overlay, show_waiting
from app.photos.progress import is_measuring
from app.scale.form import MARKED, ask_request, ask_way

_FILE = "measure/page.py"
_HOW_LISTING = "Save the seller's pictures and add them here: whole boards, their contacts sharp."
_HOW_BENCH = "Photograph the boards from straight above, a finger's width apart, the printed target flat beside them."


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("How much gold is on the boards?", anchor=False)
    shelf = list(reversed(kept().values()))
    opened = next((done for done in shelf if is_correcting(done)), None)
    if opened is not None:
        show_correcting(opened)
        _go_on()
        return
    with st.container(key="panes"):
        left, right = st.columns([6, 5], gap="large")
    with left:
        shown = _photos(shelf)
    with right:
        _right(shelf, shown)
    if any(done.has_gold for done in shelf):
        _go_on()


def _go_on() -> None:
    """Link to the next step; when pricing a listing, this page is not a step but a closer look before the price."""
    if chosen_way() is not WAYS["listing"]:
        show_next(_FILE)
        return
    with st.container(key="next"):
        link("value/page.py", f"Next: {chosen_way().steps[0].title}", ":material/arrow_forward:")


def _photos(shelf: Sequence[Kept]) -> Kept | None:
    """Draw the left side: the photo, or how to add one."""
    if not shelf:
        st.markdown(_HOW_LISTING if chosen_way() is WAYS["listing"] else _HOW_BENCH)
        _add()
        measure_what_waits()
        show_waiting(current_lot().waiting())
        return None
    shown = choose_photo(shelf)
    show_overlay(shown)
    ask_scale(shown)
    measure_what_waits()
    return shown


def _right(shelf: Sequence[Kept], shown: Kept | None) -> None:
    if shown is None:
        return
    if len(shelf) > 1:
        show_all(shelf)
        link("sheet/page.py", "See which pictures show which board", ":material/grid_view:")
    ask_about(shown)
    show_result(shown)
    offer_correcting(shown)
    with st.expander("More photos, or measure in another way", icon=":material/add_a_photo:"):
        _add()
        _measure_again()
        st.button("Take this photo off the list", on_click=take_off, args=(shown.sha256,))
    with_gold = [done for done in shelf if done.has_gold]
    if with_gold:
        with st.expander("Keep this lot", icon=":material/save:"):
            ask_to_keep("measured", with_gold)


def _add() -> None:
    """Draw the field for photos, the samples, and the target to print."""
    own, sample, printing = st.tabs(["Your photos", "Try a sample photo", "Print the target"])
    with own:
        came = ask_photos("Photos of the boards (a phone offers its camera)")
    with sample:
        came = ask_sample() or came
    with printing:
        ask_print()
    if came:
        arrive(".st-key-measuring")


def _measure_again() -> None:
    """Ask which photos to measure and how, with the button."""
    names = {photo.sha256: photo.name for photo in photos_of_lot() if not photo.is_sample}
    if not names or is_measuring():
        return
    with st.container(key="measure-again"):
        chosen = list(names)
        if len(names) > 1:
            unclear = [sha256 for sha256 in names if sha256 not in kept() or not kept()[sha256].has_gold]
            suggested = unclear or list(names)
            st.markdown("Photos to measure again:")
            chosen = [
                sha256
                for sha256, name in names.items()
                if st.checkbox(label(name), value=sha256 in suggested, key=f"desk-pick-{sha256}-{len(suggested)}")
            ]
            if not chosen:
                return
        way = ask_way()
        if way in MARKED and len(chosen) > 1:
            only = st.selectbox(
                "Points are marked on one photo at a time",
                chosen,
                format_func=lambda sha256: names[sha256],
                key="photo-to-mark",
            )
            chosen = [only]
        request = ask_request(way, names[chosen[0]], current_lot().photo(chosen[0]) or b"")
        properties = ask_properties()
        many = f"Measure {len(chosen)} photos again" if len(chosen) > 1 else "Measure again"
        if st.button(many, type="primary", disabled=request is None, width="stretch") and request is not None:
            wanted = replace(request, properties=properties)
            desk().measure(lot_key(), [Order(names[sha256], sha256, wanted) for sha256 in chosen])
            st.rerun()


if __name__ == "__main__":
    show()
