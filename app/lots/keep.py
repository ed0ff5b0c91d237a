"""The log from the page: opened for a moment, closed again, its errors told where they happen."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any, TypeVar

import streamlit as st

from app.common.show import as_typed, problem
from app.lots.desk import current_lot
from app.lots.shelf import Kept
from calibration.errors import GraderError, LogError, UsageError
from grader.log import Contents, Log, LoggedLot, NewLot, checked, folded, open_log, photo_of

_T = TypeVar("_T")
_NEW = 0  # no lot has this number
_SAID = "said"


def log_path() -> str | None:
    """The log (a file, or a server's URL) named by ``--log`` when the page was started; None for the usual one."""
    ask = argparse.ArgumentParser(allow_abbrev=False, add_help=False)
    ask.add_argument("--log")
    path: str | None = ask.parse_known_args(sys.argv[1:])[0].log
    return path


def read_log(read: Callable[[Log], _T]) -> _T | None:
    """What ``read`` takes from the log; None where there is no log yet, or where it fails, which is then told."""
    try:
        with open_log(log_path(), must_exist=True) as log:
            return read(log)
    except GraderError as error:
        if error.code != "log-missing":
            problem(error)
        return None


def write_log(write: Callable[[Log], str]) -> bool:
    """Write into the log, which is made if need be; tell what happened. True if it is written."""
    try:
        with open_log(log_path()) as log:
            said = write(log)
    except (LogError, UsageError) as error:
        problem(error)
        return False
    st.session_state[_SAID] = said
    return True


def say_what_was_done() -> None:
    """Tell once what the last action wrote; for after a rerun."""
    said = st.session_state.pop(_SAID, None)
    if said is not None:
        st.success(as_typed(said), icon=":material/check:")


def all_lots() -> tuple[LoggedLot, ...]:
    """Every lot of the log, the newest first."""
    lots = read_log(lambda log: log.lots())
    return tuple(reversed(lots)) if lots else ()


def lot_contents(lot: LoggedLot) -> Contents | None:
    """All entries of one lot."""
    return read_log(lambda log: log.entries(lot.id))


def ask_to_keep(key: str, photos: Sequence[Kept], offer: dict[str, Any] | None = None) -> None:
    """A lot to choose or to start, and a button that puts measurements, and an offer, into it.

    Args:
        key: tells this place from others.
        photos: measured ones, each with gold.
        offer: the document of a valuation of these photos.
    """
    lots = {lot.id: lot for lot in all_lots()}
    numbers = [*lots, _NEW]
    chosen = st.selectbox(
        "LoggedLot",
        numbers,
        index=numbers.index(_suggested(lots)),
        format_func=lambda number: lots[number].name if number in lots else "A new lot",
        key=f"{key}-lot",
    )
    name = ""
    if chosen == _NEW:
        st.session_state.setdefault(f"{key}-name", st.session_state.get("lot-name") or "")
        name = st.text_input("Name of the new lot", key=f"{key}-name", placeholder="Shelf 3")
    if st.button("Keep in the log", key=f"{key}-keep", icon=":material/save:"):
        write_log(lambda log: _keep(log, lots.get(chosen), name, photos, offer))
    say_what_was_done()


def kept_as() -> int | None:
    """Number of the log's lot that holds the lot in progress; None where it was not kept yet."""
    kept = current_lot().facts().get("log-lot")
    return int(kept["number"]) if kept is not None and kept["log"] == log_path() else None


def _suggested(lots: Mapping[int, LoggedLot]) -> int:
    """The log's lot that holds this one, otherwise one of the same name, otherwise a new one."""
    number = kept_as()
    if number is not None and number in lots:
        return number
    name = folded(str(st.session_state.get("lot-name") or ""))
    return next((number for number, lot in lots.items() if folded(lot.name) == name), _NEW)


def _keep(log: Log, lot: LoggedLot | None, name: str, photos: Sequence[Kept], offer: dict[str, Any] | None) -> str:
    started = lot if lot is not None else log.add_lot(checked(NewLot, name=name))
    logged = {e.photo_sha256: e.document for e in log.entries(started.id).latest_estimates()}
    documents = {p.sha256: p.measured.to_dict() for p in photos}
    fresh = [document for sha256, document in documents.items() if logged.get(sha256) != document]
    log.add_estimates(started.id, [(photo_of(document), document) for document in fresh])
    parts = [f"{len(fresh)} new {'estimate' if len(fresh) == 1 else 'estimates'}"]
    if offer is not None:
        log.add_offer(started.id, offer)
        parts.append("the offer")
    current_lot().set_facts(**{"log-lot": {"log": log_path(), "number": started.id}})
    return f"Kept in lot {started.name}: {' and '.join(parts)}."
