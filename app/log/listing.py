"""The list of all lots, their actions, and their place on disk."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from app.common.show import as_typed, label, remark
from app.common.trouble import telling
from app.lots.all import ListedLot, archive, delete_lot, listed_lots, merge_into_this, open_lot, undelete
from app.lots.bin import KEPT_DAYS, in_bin, remove, size_mb
from app.lots.desk import NAMELESS, bin_folder, day_words, desk, lot_key, lot_name, start_lot
from app.lots.keep import chosen_log, said
from app.lots.lot_folder import LotFolder
from calibration.errors import DataFileError
from grader.places import log_path as usual_log

_MOST = 40


def show_list(*, expanded: bool) -> None:
    """Draw the list."""
    lots = listed_lots()
    at_hand = [lot for lot in lots if not lot.is_archived]
    away = [lot for lot in lots if lot.is_archived]
    with st.expander(f"All lots ({len(at_hand)})", icon=":material/inventory_2:", expanded=expanded, key="lots"):
        st.button("Start another lot", on_click=start_lot, icon=":material/add:")
        for lot in at_hand[:_MOST]:
            _row(lot)
        if len(at_hand) > _MOST:
            remark(f"{len(at_hand) - _MOST} older ones are not shown; put away what you are done with.")
        if away:
            with st.container(key="lots-away"):
                st.markdown("**Put away**")
                for lot in away:
                    _row(lot)
        _bin()
        _where()


def _row(lot: ListedLot) -> None:
    is_here = lot.key == lot_key()
    with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"lot-{lot.mark}"):
        st.markdown(f"**{as_typed(lot.name)}**  \n{as_typed(_in_words(lot, is_here=is_here))}")
        if not is_here:
            st.button("Open", key=f"desk-open-{lot.mark}", on_click=telling(open_lot), args=(lot,))
        with st.popover("More", key=f"desk-more-{lot.mark}"):
            _actions(lot, is_here=is_here)


def _in_words(lot: ListedLot, *, is_here: bool) -> str:
    parts = ["you are on it"] if is_here else []
    if lot.key is not None:
        parts.append(f"{lot.photo_count} {'photo' if lot.photo_count == 1 else 'photos'}")
    parts.append("kept" if lot.logged is not None else "not kept yet")
    return ", ".join([*parts, lot.changed])


def _actions(lot: ListedLot, *, is_here: bool) -> None:
    def button(words: str, act: Callable[[], None], why: str | None = None) -> None:
        key = f"desk-{words.split(maxsplit=1)[0].lower()}-{lot.mark}"
        st.button(words, key=key, on_click=telling(act), width="stretch", help=why)

    if not lot.is_damaged:
        if is_here:
            st.markdown("Its name is at the top of this page.")
        else:
            button(f"Merge it into {label(lot_name())}", lambda: _merge(lot))
        if lot.is_archived:
            button("Bring it back", lambda: archive(lot, archived=False))
        else:
            button("Put it away", lambda: archive(lot, archived=True), "It counts as before, and leaves this list.")
    if lot.key is not None:
        stays = " What it cost and brought stays in the log." if lot.logged is not None else ""
        why = f"Its photos go, too. For {KEPT_DAYS} days you can undo that.{stays}"
        button("Delete it", lambda: _delete(lot), why)


def _merge(lot: ListedLot) -> None:
    count, entries = merge_into_this(lot)
    photos = f"{count} {'photo' if count == 1 else 'photos'}"
    logged = f" and {entries} {'entry' if entries == 1 else 'entries'} of the log" if entries else ""
    keep = " Keep this lot once more, so that these photos count in it." if entries and count else ""
    said(f"{photos}{logged} of {lot.name} came along; {lot.name} itself was deleted, which can be undone.{keep}")


def _delete(lot: ListedLot) -> None:
    delete_lot(lot)
    photos = f"{lot.photo_count} {'photo' if lot.photo_count == 1 else 'photos'}"
    said(f"{lot.name} was deleted with {photos}. Until it is removed for good you can undo that, below all lots.")


def _bin() -> None:
    deleted = in_bin(bin_folder())
    if not deleted:
        return
    st.markdown(f"**Deleted**, removed for good after {KEPT_DAYS} days")
    for key, lot, since in deleted:
        name = _name_of(lot)
        with st.container(horizontal=True, vertical_alignment="center", border=True, key=f"bin-{key}"):
            st.markdown(f"**{as_typed(name)}**  \n{as_typed(f'deleted {day_words(since)}')}")
            st.button("Undo", key=f"desk-undo-{key}", on_click=telling(undelete), args=(key,))
            st.button("Remove for good", key=f"desk-remove-{key}", on_click=remove, args=(key, bin_folder()))


def _name_of(lot: LotFolder) -> str:
    try:
        return str(lot.entries().get("lot-name") or "").strip() or NAMELESS
    except DataFileError:
        return "A lot whose file is damaged"


def _where() -> None:
    folder = desk().folder
    remark(
        f"Photos, measurements and what you filled in lie in {folder} on the machine that this page runs on "
        f"({size_mb(folder) + size_mb(bin_folder()):.0f} MB), and stay there until you delete them. What you keep "
        f"is also in the log, {chosen_log() or usual_log()}, which never holds photos."
    )
