"""Start: which job it is, and which lot."""

from __future__ import annotations

import streamlit as st

from app.common.own_money import ask_rate
from app.common.preferences import ask_preferences, currency
from app.common.show import heading, plain
from app.lots.desk import current_lot, day_words, put_aside, start_lot, take_up
from app.lots.lot_folder import LotFolder
from app.lots.way import WAY, WAYS
from app.photos.adding import ask_photos
from calibration.errors import DataFileError

_GO = "desk-go"


def show() -> None:
    """Draw the page."""
    _go()
    st.title("What do you want to do?", anchor=False)
    with st.container(key="listing", border=True):
        st.markdown(
            "**Price a listing**  \nSave the seller's pictures and add them here: whole boards, their contacts sharp."
        )
        if ask_photos("The seller's pictures"):
            _choose("listing")
            _go()
        st.button(
            "No picture yet? Try a sample",
            key="way-listing",
            type="tertiary",
            icon=":material/imagesmode:",
            on_click=_choose,
            args=("listing",),
        )
    with st.container(key="ways"):
        for name, way in WAYS.items():
            if name == "listing":
                continue
            st.button(
                f"**{way.title}**  \n{way.about}",
                key=f"way-{name}",
                icon=way.icon,
                width="stretch",
                on_click=_choose,
                args=(name,),
            )
    _lot()
    with st.expander("Units", icon=":material/tune:"):
        ask_preferences()
        ask_rate(currency())


def _go() -> None:
    """Leave for the first page of a job that was chosen."""
    if (file := st.session_state.pop(_GO, None)) is not None:
        st.switch_page(file, query_params=st.query_params.to_dict())


def _choose(name: str) -> None:
    st.session_state[WAY] = name
    st.session_state[_GO] = WAYS[name].steps[0].file


def _lot() -> None:
    heading("The lot you are on")
    st.text_input("Its name", key="lot-name", placeholder="Shelf 3", persist_state="session")
    others = put_aside()
    with st.container(horizontal=True):
        if current_lot().changed_at:
            st.button("Start another lot", on_click=start_lot, icon=":material/add:")
    if not others:
        return
    with st.expander(f"Go on with another lot ({len(others)})", icon=":material/inventory_2:"):
        for key, lot in others[:20]:
            with st.container(horizontal=True, vertical_alignment="center"):
                st.button(
                    f"{_in_short(lot)}, {day_words(lot.changed_at)}",
                    key=f"take-up-{key}",
                    on_click=take_up,
                    args=(key,),
                )
                st.button(
                    "Throw away",
                    key=f"throw-away-{key}",
                    on_click=lot.throw_away,
                    type="tertiary",
                    help="Removes its photos and entries from this machine; what is in the log stays there.",
                )


def _in_short(lot: LotFolder) -> str:
    try:
        count, name = lot.photo_count, str(lot.entries().get("lot-name") or "Lot without a name")
    except DataFileError:
        return "A lot whose file is damaged"
    return f"{plain(name)}: {count} {'photo' if count == 1 else 'photos'}"


if __name__ == "__main__":
    show()
