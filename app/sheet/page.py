"""Boards: pictures of the lot that show the same boards. A tap chooses looks, a button says what they are."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from app.common.arrive import arrive
from app.common.show import as_typed, heading, remark
from app.common.trouble import telling
from app.lots.desk import current_lot
from app.lots.sheets import (
    BoardSheet,
    SheetLook,
    is_undecided,
    keep_step,
    kept_sheet,
    last_words,
    made_of,
    redo,
    undo,
    want,
)
from app.lots.way import link, show_way
from app.photos.together import begin_matching, show_matching
from app.sheet.saying import another_board, no_board, one_board, two_faces
from grader.listing import Saying

_FILE = "sheet/page.py"
_LOOK_PX = 150
_UNSURE = 0.8
_CHOSEN = "desk-look-"
_HOW = (
    "Each row is one board with all pictures of it, so that it counts once; the best picture of each side gives its "
    "plating. Where a row is wrong, choose one or two pictures and say what they show."
)


def show() -> None:
    """Draw the page."""
    show_way(_FILE)
    st.title("Which boards are these?", anchor=False)
    lot = current_lot()
    if lot.photo_count < 2:
        st.markdown("Add several pictures of the boards first: then each board counts once.")
        link("value/page.py", "Add pictures", ":material/add_a_photo:")
        return
    if is_undecided(lot):
        want(lot)
    begin_matching()
    sheet = kept_sheet(lot)
    show_matching(sheet)
    if sheet is None:
        return
    st.markdown(f"**{as_typed(sheet.summary)}**")
    remark(_HOW)
    looks = {look.key: look for board in (*sheet.boards, sheet.none) for look in board}
    chosen = [look for key, look in looks.items() if st.session_state.get(_CHOSEN + key)]
    with st.container(key="say-boards"):
        _say(sheet, chosen, is_current=sheet.made_of == made_of(lot))
    for number, board in enumerate(sheet.boards):
        _board(f"Board {number + 1}", sheet.words[number], board)
    if sheet.none:
        _board("No boards", "what was taken for no board: a cable, a label, a piece of another outline", sheet.none)
    _minds(sheet)
    link("value/page.py", "Back to the price", ":material/arrow_back:")


def _board(title: str, words: str, looks: Sequence[SheetLook]) -> None:
    heading(title)
    if words:
        remark(words)
    with st.container(horizontal=True, key=f"board-{title.replace(' ', '-')}"):
        for look in looks:
            _look(title, look, has_backs=any(each.face == "back" for each in looks))


def _look(title: str, look: SheetLook, *, has_backs: bool) -> None:
    side = f", {look.face}" if has_backs else ""
    words = [f"{look.photo}{side}"]
    if look.is_best:
        words.append("best")
    if look.sure < _UNSURE:
        words.append("unsure")
    with st.container(width=_LOOK_PX):
        st.image(look.picture, width=_LOOK_PX, alt=f"{title} in {look.photo}{side}")
        st.checkbox(as_typed(", ".join(words)), key=_CHOSEN + look.key)


def _say(sheet: BoardSheet, chosen: Sequence[SheetLook], *, is_current: bool) -> None:
    """Draw the choices for the chosen pictures, and the steps back and forth."""
    most = 2
    told = {0: "No picture chosen.", 1: "1 picture chosen.", most: "2 pictures chosen."}
    st.markdown(told.get(len(chosen), f"{len(chosen)} pictures chosen: choose one or two."), width="stretch")
    one, two = len(chosen) == 1 and is_current, len(chosen) == most and is_current
    with st.container(horizontal=True, gap="xsmall"):  # a phone's screen has room for two lines
        _button("Same board", ":material/link:", chosen, two, lambda: one_board(sheet, *chosen))
        _button("Front and back", ":material/flip:", chosen, two, lambda: two_faces(sheet, *chosen))
        _button("Another board", ":material/call_split:", chosen, one or two, lambda: another_board(sheet, chosen))
        _button("Not a board", ":material/block:", chosen, one or two, lambda: no_board(chosen))
        done, undone = last_words(current_lot())
        for step, back, icon, words in ((undo, "Undo", "undo", done), (redo, "Redo", "redo", undone)):
            if words is not None:
                st.button(
                    back,
                    icon=f":material/{icon}:",
                    key=f"{icon}-boards",
                    on_click=_step,
                    args=(step,),
                    help=as_typed(words),
                )


def _button(
    words: str, icon: str, chosen: Sequence[SheetLook], can: bool, sayings: Callable[[], list[Saying]]
) -> None:
    told = sayings() if can else []
    names = " and ".join(look.photo for look in chosen)
    st.button(
        words,
        icon=icon,
        key=f"say-{words.replace(' ', '-').lower()}",
        disabled=not can or not told,
        on_click=_kept,
        args=(f"{words}: {names}", told),
    )


@telling
def _kept(words: str, sayings: Sequence[Saying]) -> None:
    keep_step(current_lot(), words, sayings)
    _choose_none()


@telling
def _step(step: Callable[..., None]) -> None:
    step(current_lot())
    _choose_none()


def _choose_none() -> None:
    for key in [k for k in st.session_state if str(k).startswith(_CHOSEN)]:
        st.session_state[key] = False
    arrive(".st-key-say-boards")


def _minds(sheet: BoardSheet) -> None:
    if sheet.notices:
        with st.expander("What to mind", icon=":material/info:"):
            for message, advice in sheet.notices:
                st.markdown(f"{as_typed(message)} {as_typed(advice)}")


if __name__ == "__main__":
    show()
