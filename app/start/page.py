"""Start: which job it is, and which lot."""

from __future__ import annotations

import streamlit as st

from app.common.name import PICTURE, PICTURE_ALT
from app.common.own_money import ask_rate
from app.common.preferences import ask_preferences, chosen_currency
from app.common.show import heading
from app.lots.desk import current_lot, put_aside, start_lot
from app.lots.keep import name_changed
from app.lots.way import WAY, WAYS, link
from app.photos.adding import ask_photos, take_first_sample

_GO = "desk-go"


def show() -> None:
    """Draw the page."""
    _go()
    with st.container(key="picture"):
        st.image(PICTURE, width="stretch", alt=PICTURE_ALT)
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
            key="try-sample",
            type="tertiary",
            icon=":material/imagesmode:",
            on_click=_try_sample,
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
        ask_rate(chosen_currency())


def _go() -> None:
    """Leave for the first page of a job that was chosen."""
    if (file := st.session_state.pop(_GO, None)) is not None:
        st.switch_page(file, query_params=st.query_params.to_dict())


def _choose(name: str) -> None:
    st.session_state[WAY] = name
    st.session_state[_GO] = WAYS[name].steps[0].file


def _try_sample() -> None:
    _choose("listing")
    take_first_sample()


def _lot() -> None:
    heading("The lot you are on")
    st.text_input("Its name", key="lot-name", placeholder="Shelf 3", persist_state="session", on_change=name_changed)
    others = len(put_aside())
    with st.container(horizontal=True):
        if current_lot().changed_at:
            st.button("Start another lot", on_click=start_lot, icon=":material/add:")
        if others:
            link("log/page.py", f"Go on with another lot ({others})", ":material/inventory_2:")


if __name__ == "__main__":
    show()
