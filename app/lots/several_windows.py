"""Changes to the lot in progress by other windows and programs, shown on every page; and a damaged lot."""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import date

import streamlit as st

from app.common.show import as_typed, label, problem, range_text
from app.common.trouble import last_trouble, telling
from app.lots.desk import (
    begin_lot_anew,
    changed_elsewhere,
    current_lot,
    has_news,
    own_entries,
    settle_entry,
    start_lot,
)
from app.lots.entries import Clash, Value
from app.lots.lot_folder import Kept, PhotoClash
from app.lots.shelf import bring_back, last_taken_off
from calibration.errors import DataFileError

# Names of fields whose keys do not read well.
_WORDS = {
    "lot-name": "name of the lot",
    "spot": "gold price",
    "spot-date": "day of the gold price",
    "asking": "asking price",
    "accepted-loss": "chance of a loss that you accept",
    "payable": "share of the gold price that your buyer pays",
    "per-gram": "refiner's charge per gram of gold",
    "minimum": "refiner's minimum charge",
    "lot-fee": "refiner's fee for a lot",
    "treatment": "refiner's charge by weight",
    "melt-loss": "gold lost in melting",
    "least-gold": "least gold that is settled",
    "pot": "gold of other lots settled with this one",
    "interest": "interest a year on your money",
    "paid-at-once": "share of the gold paid at once",
    "rest-after": "time until the rest is paid",
    "weeks": "time until the gold is sold",
    "recovery": "share of the plated gold that you get out",
    "hours": "your own hours for stripping",
    "rate": "what an hour of yours is worth",
    "fee": "marketplace's fee",
    "whole-price": "price for the boards as they are",
    "trim-price": "price for trimmed pieces",
    "trim-share": "share of trimmed pieces",
    "count": "boards in the lot",
    "mass": "stated mass",
    "boards": "boards in a photo",
    "weighed": "what the boards in a photo weigh",
    "shows": "what a photo shows",
}
_OF_A_PHOTO = re.compile(r"-[0-9a-f]{8,64}$")
_LOOK_EVERY_S = 2.0
_SHOWN = 60  # characters of what was entered


def show_what_others_did() -> None:
    """Show errors of the last action, changes made elsewhere, and decisions to be made."""
    error = last_trouble()
    if error is not None:
        problem(error)
    changed = changed_elsewhere()
    if changed:
        words = ((_called(name), now, was) for name, (was, now) in changed.items())
        lines = [f"{called[:1].upper()}{called[1:]}: {_said(now)} (was {_said(was)})" for called, now, was in words]
        st.toast("Changed in another window:\n\n" + "\n\n".join(map(as_typed, lines)), duration="long")
    off = last_taken_off()
    if off is not None:
        with st.container(horizontal=True, vertical_alignment="center", key="desk-taken-off-line"):
            st.markdown(as_typed(f"{off[1]} was taken off the list."))
            st.button("Undo", key="desk-bring-back", on_click=bring_back, args=(off[0],))
    for clash in (*own_entries().clashes(), *current_lot().clashes()):
        _ask_entry(clash)
    for photo in current_lot().photo_clashes():
        _ask_photo(photo)


@st.fragment(run_every=_LOOK_EVERY_S)
def watch() -> None:
    """Draw the page again soon after another window has changed something on it."""
    with suppress(DataFileError):  # the page itself shows it
        if has_news():
            st.rerun()


def show_damaged(error: DataFileError) -> None:
    """Draw this in place of a page whose lot cannot be read."""
    st.title("This lot cannot be read", anchor=False)
    problem(error)
    st.markdown(
        "The photos lie beside that file. They can be measured again; what was filled in has to be filled in anew."
    )
    st.button("Keep the file aside, go on with the photos", type="primary", on_click=begin_lot_anew)
    st.button("Start another lot", on_click=start_lot, icon=":material/add:")


def _ask_entry(clash: Clash) -> None:
    with st.container(border=True, key=f"desk-clash-{clash.name}"):
        others = " and ".join(_said(other) for other in clash.others)
        st.warning(
            as_typed(
                f"Two windows changed the same field: {_called(clash.name)}. "
                f"It now says {_said(clash.now)}; in another window it was changed to {others}."
            ),
            icon=":material/warning:",
        )
        with st.container(horizontal=True):
            for number, value in enumerate((clash.now, *clash.others)):
                st.button(
                    label(f"{'Use' if number else 'Keep'} {_said(value)}"),
                    key=f"desk-settle-{clash.name}-{number}",
                    on_click=settle_entry,
                    args=(clash, value),
                )


def _ask_photo(clash: PhotoClash) -> None:
    with st.container(border=True, key=f"desk-clash-{clash.now.sha256}"):
        st.warning(
            as_typed(
                f"Two windows measured or corrected {clash.now.name} without having seen each other. What came last "
                "counts; the other is kept until you decide."
            ),
            icon=":material/warning:",
        )
        with st.container(horizontal=True):
            for number, done in enumerate((clash.now, *clash.others)):
                st.button(
                    label(f"{'Use' if number else 'Keep'} {_in_short(done)}"),
                    key=f"desk-settle-{done.stamp}",
                    on_click=_settle_photo,
                    args=(done,),
                )


@telling
def _settle_photo(done: Kept) -> None:
    if done.stamp is not None:
        current_lot().settle_photo(done.sha256, done.stamp)


def _in_short(done: Kept) -> str:
    count = len(done.measured.made_by_hand.items)
    gold = range_text(done.measured.gold_mg, "mg") if done.has_gold else "no estimate of gold"
    return f"{gold}, {count} {'correction' if count == 1 else 'corrections'}"


def _called(name: str) -> str:
    """The name of a field."""
    stem = _OF_A_PHOTO.sub("", name)
    first, _, rest = stem.partition("-")
    if stem not in _WORDS and first in ("count", "mass") and rest:
        return f"{_WORDS[first]}, {rest}"
    return _WORDS.get(stem, stem.replace("-", " "))


def _said(value: Value) -> str:
    if value in (None, ""):
        return "nothing"
    text = value.isoformat() if isinstance(value, date) else " ".join(str(value).split())
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 1]}…"
