"""The log from the page: opened briefly for each use, with errors shown in place."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, TypeVar

import streamlit as st

from app.common.show import as_typed, label, problem
from app.lots.desk import current_lot
from app.lots.lot_folder import LotFolder
from app.lots.shelf import Kept
from calibration.errors import GraderError, LogError, UsageError
from grader.log import Contents, Log, LoggedLot, NewLot, checked, folded, open_log, photo_of

_T = TypeVar("_T")
_SAID = "said"


def chosen_log() -> str | None:
    """The log (a file or a server's URL) given by ``--log`` when the page was started; None for the default."""
    ask = argparse.ArgumentParser(allow_abbrev=False, add_help=False)
    ask.add_argument("--log")
    path: str | None = ask.parse_known_args(sys.argv[1:])[0].log
    return path


def read_log(read: Callable[[Log], _T]) -> _T | None:
    """Read from the log; None if there is no log yet, or if reading fails, with an error shown."""
    try:
        with open_log(chosen_log(), must_exist=True) as log:
            return read(log)
    except GraderError as error:
        if error.code != "log-missing":
            problem(error)
        return None


def write_log(write: Callable[[Log], str]) -> bool:
    """Write to the log, creating it if necessary, and report the result. True on success."""
    try:
        with open_log(chosen_log()) as log:
            done = write(log)
    except (LogError, UsageError) as error:
        problem(error)
        return False
    said(done)
    return True


def said(words: str) -> None:
    """Store a message about an action until the page is drawn."""
    st.session_state[_SAID] = words


def say_what_was_done() -> None:
    """Show the message of the last action, once, after a rerun."""
    words = st.session_state.pop(_SAID, None)
    if words is not None:
        st.success(as_typed(words), icon=":material/check:")


def all_lots() -> tuple[LoggedLot, ...]:
    """All lots of the log, newest first."""
    lots = read_log(lambda log: log.lots())
    return tuple(reversed(lots)) if lots else ()


def lot_contents(lot: LoggedLot) -> Contents | None:
    """All entries of one lot."""
    return read_log(lambda log: log.entries(lot.id))


def kept_as() -> int | None:
    """Number of this lot in the log; None if not kept yet."""
    return number_in_log(current_lot())


def number_in_log(lot: LotFolder) -> int | None:
    """Number in this log of a lot in progress; None if it is not in this log."""
    kept_in = lot.facts().get("log-lot")
    return int(kept_in["number"]) if kept_in is not None and kept_in["log"] == chosen_log() else None


def bind(lot: LotFolder, number: int) -> None:
    """Store the number in the log of a lot in progress."""
    lot.set_facts(**{"log-lot": {"log": chosen_log(), "number": number}})


def logged_lot() -> LoggedLot | None:
    """The logged lot of the lot in progress; None if not kept yet, or gone."""
    number = kept_as()
    return None if number is None else next((lot for lot in all_lots() if lot.id == number), None)


def ask_to_keep(key: str, photos: Sequence[Kept], offer: Mapping[str, Any] | None = None) -> None:
    """Ask for the lot's name, with a button that logs its measurements and offer.

    Args:
        key: unique part of the fields' keys.
        photos: measured ones, each with gold.
        offer: the document of a valuation of these photos.
    """
    if offer is not None:
        note_offer(photos, offer)
    st.text_input("Name of the lot", key="lot-name", placeholder="Shelf 3", persist_state="session")
    keep_button(key, photos)
    say_what_was_done()


def keep_button(key: str, photos: Sequence[Kept], about: Mapping[str, str] | None = None) -> bool:
    """Draw only the button. True if it was pressed and the lot is now logged.

    Args:
        key: unique part of the fields' keys.
        photos: measured ones, each with gold.
        about: the lot's seller, part and note, if they are asked for here; otherwise those given elsewhere
            count, and those not given anywhere stay as they are.
    """
    if about is None:
        named = {name: st.session_state.get(f"lot-{name}") for name in ("seller", "part", "note")}
        about = {name: str(text).strip() for name, text in named.items() if text}
    name = str(st.session_state.get("lot-name") or "").strip()
    mine = logged_lot()
    same = None if mine is not None else next((lot for lot in all_lots() if folded(lot.name) == folded(name)), None)
    into = mine
    if same is not None:
        called = label(same.name)
        if st.checkbox(f"It belongs to the lot {called} that was kept before", key=f"{key}-same-{same.id}"):
            into = same
    news = _in_words(mine, photos)
    told = st.empty()
    kind: Literal["primary", "secondary"] = "primary" if news else "secondary"
    is_kept = False
    if st.button("Keep this lot", type=kind, width="stretch", key=f"{key}-keep", icon=":material/save:"):
        is_kept = write_log(lambda log: _keep(log, into, name, about, photos))
    told.markdown(as_typed(f"To keep: {news}.") if news and not is_kept else "All that was measured is kept.")
    return is_kept


def note_offer(photos: Sequence[Kept], offer: Mapping[str, Any]) -> None:
    """Store the last offer for the lot, to be logged with it."""
    noted = {"document": dict(offer), "of": [photo.stamp for photo in photos]}
    if current_lot().facts().get("offer") != noted:
        current_lot().set_facts(offer=noted)


def _in_words(lot: LoggedLot | None, photos: Sequence[Kept]) -> str:
    """What would be added to the log, in words; empty if nothing."""
    entries = None if lot is None else lot_contents(lot)
    fresh = len(_new_documents(entries, photos))
    parts = [f"{fresh} measured {'photo' if fresh == 1 else 'photos'}"] if fresh else []
    if _new_offer(entries, photos) is not None:
        parts.append(", ".join(["the offer", *current_lot().facts().get("said", [])]))
    if not parts and lot is None:
        parts = ["its name"]
    return " and ".join(parts)


def _new_documents(entries: Contents | None, photos: Sequence[Kept]) -> list[dict[str, Any]]:
    """Measurements that are new or changed since they were logged."""
    logged = {} if entries is None else {e.photo_sha256: e.document for e in entries.latest_estimates()}
    documents = {photo.sha256: photo.measured.to_dict() for photo in photos}
    return [document for sha256, document in documents.items() if logged.get(sha256) != document]


def _new_offer(entries: Contents | None, photos: Sequence[Kept]) -> Mapping[str, Any] | None:
    """The last offer, if it belongs to the present photos and is not logged yet."""
    noted = current_lot().facts().get("offer")
    if noted is None or noted["of"] != [photo.stamp for photo in photos]:
        return None
    document: Mapping[str, Any] = noted["document"]
    last = entries.offers[-1].document if entries is not None and entries.offers else None
    return None if last == document else document


def name_changed() -> None:
    """Rename the logged lot together with the lot in progress."""
    lot, name = logged_lot(), str(st.session_state.get("lot-name") or "").strip()
    if lot is not None and name and name != lot.name:
        write_log(lambda log: f"The lot is now called {log.change_lot(lot.id, lot.as_new(name=name)).name}.")


def _keep(log: Log, lot: LoggedLot | None, name: str, about: Mapping[str, str], photos: Sequence[Kept]) -> str:
    if lot is None:
        started = log.add_lot(checked(NewLot, name=name, **about))
    else:
        started = log.change_lot(lot.id, lot.as_new(name=name or lot.name, **about), archived=False)
    entries = log.entries(started.id)
    fresh, offer = _new_documents(entries, photos), _new_offer(entries, photos)
    log.add_estimates(started.id, [(photo_of(document), document) for document in fresh])
    parts = [f"{len(fresh)} new {'estimate' if len(fresh) == 1 else 'estimates'}"]
    if offer is not None:
        log.add_offer(started.id, dict(offer))
        parts.append("the offer")
    bind(current_lot(), started.id)
    return f"Lot {started.name} is kept: {' and '.join(parts)}."
