"""The lot in progress behind this browser window: found by the key in the address, shared by all windows on it."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from threading import Lock

import streamlit as st

from app.lot_folder import LotFolder, Value, is_key, json_of, lots_in, new_key, value_of, write_whole
from app.measuring import Measuring, Order
from grader import places

KEY_IN_ADDRESS = "lot"
SHELF = "shelf"
_CURRENT, _SEEN, _KNOWN = "desk-lot", "desk-seen", "desk-known"
# What is a person's own and not a lot's: it goes along into the next lot.
OWN = (
    "way",
    "mass-unit",
    "currency",
    "scale-way",
    "assumptions",
    "spot",
    "spot-date",
    "accepted-loss",
    "payable",
    "recovery",
    "costs",
    "fee",
    "tax",
    "hours",
    "rate",
    "weeks",
    "per-gram",
    "minimum",
    "trim-price",
    "trim-share",
    "whole-price",
)
_LONGEST = 20_000
_NOT_KEPT = ("desk-", "said", "_", "$", "photo-to-mark", "shown-", "sample", "FormSubmitter")


class Desk:
    """Everything in progress on this machine.

    Attributes:
        folder: holds a folder for each lot.
        one_at_a_time: held while a photo is measured.
        usual_s: what the last photos took, s; None before the first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.one_at_a_time = Lock()
        self.usual_s: float | None = None
        self._lots: dict[str, LotFolder] = {}
        self._measuring: dict[str, Measuring] = {}

    def lot(self, key: str) -> LotFolder:
        """The lot of a key; windows on the same lot get the same one."""
        return self._lots.setdefault(key, LotFolder(self.folder / key))

    def measuring(self, key: str) -> Measuring | None:
        """What is being measured for a lot, or was last."""
        return self._measuring.get(key)

    def measure(self, key: str, orders: Sequence[Order]) -> None:
        """Begin to measure photos of a lot; nothing where it is at it already."""
        busy = self._measuring.get(key)
        if busy is not None:
            if not busy.is_over:
                return
            self.usual_s = busy.usual_s()
        row = Measuring(orders, self.lot(key), self.one_at_a_time, self.usual_s)
        self._measuring[key] = row
        row.start()

    def forget(self, key: str) -> None:
        """Let go of what was measured last."""
        done = self._measuring.pop(key, None)
        if done is not None:
            self.usual_s = done.usual_s()


@st.cache_resource
def _desk(folder: Path) -> Desk:
    return Desk(folder)


def desk() -> Desk:
    """The one desk of this program."""
    return _desk(places.data_folder() / "in-progress")


def lot_key() -> str:
    """Which lot this window is on."""
    return str(st.session_state[_CURRENT])


def current_lot() -> LotFolder:
    """The lot that this window is on."""
    return desk().lot(lot_key())


def lot_name() -> str:
    """What the lot in progress is called."""
    name = str(st.session_state.get("lot-name") or "").strip()
    return name or "Lot without a name"


def sit_down() -> None:
    """Take up the lot that the address names, or a new one; what other windows changed comes along.

    To be called before anything is drawn.
    """
    named = st.query_params.get(KEY_IN_ADDRESS, "")
    current = st.session_state.get(_CURRENT)
    if current is None:
        _restore(_own_entries())
        _take(named if is_key(named) else new_key())
    elif is_key(named) and named != current:
        _take(named)
    if named != lot_key():
        st.query_params[KEY_IN_ADDRESS] = lot_key()
    _bring_changes()


def stand_up() -> None:
    """Keep what was entered. To be called after everything is drawn."""
    entries = _entered()
    seen: dict[str, Value] = st.session_state[_SEEN]
    changed = {name: value for name, value in entries.items() if name not in seen or seen[name] != value}
    if not changed:
        return
    seen |= changed
    own = {name: value for name, value in changed.items() if name in OWN}
    if own:
        kept = {**_own_entries(), **own}
        write_whole(_own_path(), json.dumps({name: json_of(value) for name, value in kept.items()}).encode())
    rest = {name: value for name, value in changed.items() if name not in OWN}
    # a new lot in which nothing was filled in leaves no trace
    if rest and (current_lot().changed_at or any(value not in (None, "") for value in rest.values())):
        current_lot().set_entries(rest)


def start_lot() -> None:
    """Put the lot in progress aside and begin another."""
    _take(new_key())
    st.query_params[KEY_IN_ADDRESS] = lot_key()


def take_up(key: str) -> None:
    """Go on with a lot that was put aside."""
    _take(key)
    st.query_params[KEY_IN_ADDRESS] = key


def put_aside() -> list[tuple[str, LotFolder]]:
    """Lots in progress other than this one, the last changed first."""
    return [(key, lot) for key, lot in lots_in(desk().folder) if key != lot_key()]


def day_words(seconds: float) -> str:
    """When something last changed, by the clock of this machine."""
    at = datetime.fromtimestamp(seconds).astimezone()
    return f"today {at:%H:%M}" if at.date() == date.today() else f"{at:%Y-%m-%d %H:%M}"


def _take(key: str) -> None:
    """Make a lot the one of this window: its entries take the place of those of the lot before."""
    for name in [n for n in st.session_state.get(_SEEN, {}) if n not in OWN]:
        st.session_state.pop(name, None)
    st.session_state[_CURRENT] = key
    st.session_state[_SEEN] = {n: v for n, v in st.session_state.get(_SEEN, {}).items() if n in OWN}
    st.session_state.pop(SHELF, None)
    st.session_state.pop(_KNOWN, None)


def _bring_changes() -> None:
    """Entries and measurements that this window has not seen yet."""
    lot = current_lot()
    seen: dict[str, Value] = st.session_state[_SEEN]
    # what was just typed here goes before what another window kept
    _restore(
        {
            n: v
            for n, v in lot.entries().items()
            if n not in seen or (seen[n] != v and st.session_state.get(n, seen[n]) == seen[n])
        }
    )
    known: set[str] = st.session_state.get(_KNOWN, set())
    for done in st.session_state.get(SHELF, {}).values():
        if done.sha256 not in known:
            lot.put(done)
    st.session_state[SHELF] = lot.measured()
    st.session_state[_KNOWN] = set(st.session_state[SHELF])


def _restore(entries: Mapping[str, Value]) -> None:
    for name, value in entries.items():
        st.session_state[name] = value
        st.session_state.setdefault(_SEEN, {})[name] = value


def _entered() -> dict[str, Value]:
    """Everything that was filled in, by the fields' keys. True and false are buttons, which cannot be filled in."""
    return {
        str(name): value
        for name, value in st.session_state.items()
        if isinstance(value, str | int | float | date | None)
        and not isinstance(value, bool)
        and not (isinstance(value, str) and len(value) > _LONGEST)
        and not str(name).startswith(_NOT_KEPT)
    }


def _own_path() -> Path:
    return places.data_folder() / "page.json"


def _own_entries() -> dict[str, Value]:
    try:
        kept: dict[str, object] = json.loads(_own_path().read_bytes())
        return {name: value_of(value) for name, value in kept.items() if name in OWN}
    except (OSError, ValueError, RecursionError, AttributeError, KeyError, TypeError):  # damaged: fields begin empty
        return {}
