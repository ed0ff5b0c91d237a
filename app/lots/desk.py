"""The lot in progress of this browser window, found by the key in the address and shared by its windows."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from threading import Lock

import streamlit as st

from app.common.trouble import telling, trouble
from app.lots.bin import KEPT_DAYS, in_bin
from app.lots.entries import Clash, Value
from app.lots.fresh import FreshMeasurements
from app.lots.lot_folder import LotFolder, is_key, lots_in, new_key
from app.lots.matching import Matching
from app.lots.measuring import Measuring, Order
from app.lots.own_entries import OwnEntries
from app.lots.taken_off import clear_old
from app.server.gate import WHO_COOKIE
from calibration.errors import DataFileError, UsageError
from grader import places

KEY_IN_ADDRESS = "lot"
NAMELESS = "Lot without a name"
SHELF = "shelf"
_CURRENT, _SEEN, _KNOWN = "desk-lot", "desk-seen", "desk-known"
_LOOKED, _WAITING = "desk-looked", "desk-waiting"
_CHANGED, _GOOD = "desk-changed", "desk-good"
# Personal entries, not tied to a lot: they are kept for the next lot.
OWN = (
    "way",
    "mass-unit",
    "currency",
    "scale-way",
    "assumptions",
    "spot",
    "spot-date",
    "accepted-loss",
    "loss-over",
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
    "lot-fee",
    "assay",
    "treatment",
    "melt-loss",
    "least-gold",
    "pot",
    "interest",
    "paid-at-once",
    "rest-after",
    "trim-price",
    "trim-share",
    "whole-price",
    "bodies-price",
)
# Of these, the entries that each window has for itself once it is open: two jobs may be done side by side.
_OF_A_WINDOW = ("way", "mass-unit", "currency", "scale-way", "assumptions")
# Of these, the entries that are chosen, not typed, and so cannot be wrong.
_CHOSEN = (*_OF_A_WINDOW, "spot-date", "loss-over")
_TYPED = frozenset(OWN) - frozenset(_CHOSEN)
_LONGEST = 20_000
_NOT_KEPT = ("desk-", "said", "_", "$", "photo-to-mark", "shown-", "sample", "FormSubmitter")


class Desk:
    """All work in progress on this machine.

    Attributes:
        folder: holds a folder for each lot.
        one_at_a_time: held while a photo is measured.
        settling: held while a measurement is updated after corrections by hand.
        usual_s: time for the last photos, s; None before the first.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.one_at_a_time = Lock()
        self.settling = Lock()
        self.usual_s: float | None = None
        self._fresh = FreshMeasurements()
        self._lots: dict[str, LotFolder] = {}
        self._measuring: dict[str, Measuring] = {}
        self._matching: dict[str, Matching] = {}

    def lot(self, key: str) -> LotFolder:
        """The lot with this key, shared by its windows."""
        return self._lots.setdefault(key, LotFolder(self.folder / key))

    def measuring(self, key: str) -> Measuring | None:
        """The current or last measuring job of a lot."""
        return self._measuring.get(key)

    def matching(self, key: str) -> Matching:
        """The comparison of a lot's photos; only its findings on the last lot are kept in memory."""
        if key not in self._matching:
            self._matching = {k: m for k, m in self._matching.items() if not m.is_over}
            self._matching[key] = Matching(self.lot(key), self.one_at_a_time, self._fresh)
        return self._matching[key]

    def measure(self, key: str, orders: Sequence[Order]) -> None:
        """Start measuring photos of a lot, unless it is running already."""
        busy = self._measuring.get(key)
        if busy is not None:
            if not busy.is_over:
                return
            self.usual_s = busy.usual_s()
        row = Measuring(orders, self.lot(key), self.one_at_a_time, self.usual_s, fresh=self._fresh)
        self._measuring[key] = row
        row.start()


@st.cache_resource
def _desk(folder: Path) -> Desk:
    in_bin(bin_folder())  # lots past the limit are removed at the start of the page, too
    clear_old(folder, KEPT_DAYS)
    return Desk(folder)


def desk() -> Desk:
    """The program's single desk."""
    return _desk(places.data_folder() / "in-progress")


def bin_folder() -> Path:
    """The folder of deleted lots."""
    return places.data_folder() / "deleted-lots"


def lot_key() -> str:
    """The key of this window's lot."""
    return str(st.session_state[_CURRENT])


def current_lot() -> LotFolder:
    """The lot of this window."""
    return desk().lot(lot_key())


def lot_name() -> str:
    """The name of the lot in progress."""
    name = str(st.session_state.get("lot-name") or "").strip()
    return name or NAMELESS


def own_entries() -> OwnEntries:
    """The personal entries, not tied to a lot: of this machine's user, or of one browser on the network."""
    who = st.context.cookies.get(WHO_COOKIE) if st.context.ip_address is not None else None
    mark = "" if not isinstance(who, str) else f"-{hashlib.sha256(who.encode()).hexdigest()[:16]}"
    return OwnEntries(places.data_folder() / f"page{mark}.json")


def found_good(name: str) -> None:
    """Mark the current value of a personal field as valid: only valid values are kept for other lots."""
    st.session_state.setdefault(_GOOD, {})[name] = st.session_state.get(name)


def sit_down() -> None:
    """Open the lot named in the address, or a new one, with changes from other windows.

    Call it before anything is drawn.

    Raises:
        DataFileError: the lot is damaged.
    """
    named = st.query_params.get(KEY_IN_ADDRESS, "")
    current = st.session_state.get(_CURRENT)
    if current is None:
        _restore({name: value for name, value in own_entries().entries().items() if name in OWN})
        _take(named if is_key(named) else new_key())
    elif is_key(named) and named != current:
        _leave()
        _take(named)
    if named != lot_key():
        st.query_params[KEY_IN_ADDRESS] = lot_key()
    try:
        stand_up()  # before loading other windows' changes: the latest entries were made without seeing them
    except DataFileError:
        raise
    except UsageError as error:
        trouble(error)
    _bring_changes()


def stand_up() -> None:
    """Save all entries. Call it after everything is drawn.

    Raises:
        DataFileError, UsageError: it cannot be saved; the next call tries again.
    """
    entries = _entered()
    seen: dict[str, Value] = st.session_state.setdefault(_SEEN, {})
    changed = {name: value for name, value in entries.items() if name not in seen or seen[name] != value}
    if not changed:
        return
    if windows := {name: value for name, value in changed.items() if name in _OF_A_WINDOW}:
        own_entries().enter(windows)
    if own := {name: value for name, value in changed.items() if name in OWN and name not in _OF_A_WINDOW}:
        refused = {name for name, value in own.items() if not _is_good(name, value)}
        changed = {name: value for name, value in changed.items() if name not in refused}
        own_entries().enter({name: value for name, value in own.items() if name not in refused}, seen)
    rest = {name: value for name, value in changed.items() if name not in OWN}
    # a new lot in which nothing was filled in leaves no trace
    if rest and (current_lot().changed_at or any(value not in (None, "") for value in rest.values())):
        current_lot().set_entries(rest, seen)
    seen |= changed


@telling
def start_lot() -> None:
    """Put the lot in progress aside and start another."""
    _leave()
    _take(new_key())
    st.query_params[KEY_IN_ADDRESS] = lot_key()


@telling
def take_up(key: str) -> None:
    """Continue with a lot that was put aside."""
    _leave()
    _take(key)
    st.query_params[KEY_IN_ADDRESS] = key


@telling
def begin_lot_anew() -> None:
    """Put the lot's damaged file aside, and continue with its photos and this window's entries."""
    current_lot().begin_anew()
    st.session_state[_SEEN] = {n: v for n, v in st.session_state[_SEEN].items() if n in OWN}
    st.session_state.pop(_KNOWN, None)


@telling
def settle_entry(clash: Clash, value: Value) -> None:
    """Choose the value of a field changed by two windows; each window shows it at its next drawing."""
    (own_entries() if clash.name in OWN else current_lot()).settle(clash, value)


def has_news() -> bool:
    """Whether another window has changed what this one shows since it was drawn (a cheap check)."""
    lot = current_lot()
    now = (lot.changed_at, own_entries().changed_at)
    if now == st.session_state.get(_LOOKED):
        return False
    st.session_state[_LOOKED] = now
    seen: dict[str, Value] = st.session_state[_SEEN]
    entries = {**_shared_own(), **lot.entries()}
    shown = {sha256: done.stamp for sha256, done in st.session_state.get(SHELF, {}).items()}
    return (
        any(name not in seen or seen[name] != value for name, value in entries.items())
        or shown != {sha256: done.stamp for sha256, done in lot.measured().items()}
        or st.session_state.get(_WAITING) != lot.waiting()
    )


def _shared_own() -> dict[str, Value]:
    """The personal entries shared by all windows of a person."""
    return {n: v for n, v in own_entries().entries().items() if n in OWN and n not in _OF_A_WINDOW}


def changed_elsewhere() -> dict[str, tuple[Value, Value]]:
    """Fields of this window that another window changed, with old and new value; reported once."""
    changed: dict[str, tuple[Value, Value]] = st.session_state.pop(_CHANGED, {})
    return changed


def put_aside() -> list[tuple[str, LotFolder]]:
    """Other lots in progress, the last changed first."""
    return [(key, lot) for key, lot in lots_in(desk().folder) if key != lot_key()]


def day_words(seconds: float) -> str:
    """The time of the last change as words, by this machine's clock."""
    at = datetime.fromtimestamp(seconds).astimezone()
    return f"today {at:%H:%M}" if at.date() == date.today() else f"{at:%Y-%m-%d %H:%M}"


def _take(key: str) -> None:
    """Load a lot into this window: its entries replace the previous ones."""
    for name in [n for n in st.session_state.get(_SEEN, {}) if n not in OWN]:
        st.session_state.pop(name, None)
    for name in OWN:
        if name in st.session_state and not _is_good(name, st.session_state[name]):
            st.session_state[name] = st.session_state.get(_SEEN, {}).get(name, "")
    st.session_state[_CURRENT] = key
    st.session_state[_SEEN] = {n: v for n, v in st.session_state.get(_SEEN, {}).items() if n in OWN}
    st.session_state.pop(SHELF, None)
    st.session_state.pop(_KNOWN, None)


def _leave() -> None:
    """Save the entries of this window's lot, unless it is damaged."""
    with suppress(DataFileError):
        stand_up()


def _bring_changes() -> None:
    """Load entries and measurements new to this window."""
    lot = current_lot()
    seen: dict[str, Value] = st.session_state[_SEEN]
    fresh = {
        n: v
        for n, v in {**_shared_own(), **lot.entries()}.items()
        # values that could not be saved are still this window's latest
        if n not in seen or (seen[n] != v and st.session_state.get(n, seen[n]) == seen[n])
    }
    told = {n: (seen[n], v) for n, v in fresh.items() if seen.get(n) not in (None, "")}
    st.session_state[_CHANGED] = {**st.session_state.get(_CHANGED, {}), **told}
    _restore(fresh)
    known: set[str] = st.session_state.get(_KNOWN, set())
    for done in st.session_state.get(SHELF, {}).values():
        if done.sha256 not in known:
            lot.put(done)
    st.session_state[SHELF], st.session_state[_WAITING] = lot.measured(), lot.waiting()
    st.session_state[_KNOWN] = set(st.session_state[SHELF])


def _is_good(name: str, value: Value) -> bool:
    """Whether a personal entry can be kept for other lots: it was valid, or chosen from a list."""
    if name not in _TYPED or value in (None, ""):
        return True
    known: dict[str, Value] = st.session_state.get(_SEEN, {})
    good: dict[str, Value] = st.session_state.get(_GOOD, {})
    return (name in known and known[name] == value) or good.get(name) == value


def _restore(entries: Mapping[str, Value]) -> None:
    for name, value in entries.items():
        st.session_state[name] = value
        st.session_state.setdefault(_SEEN, {})[name] = value


def _entered() -> dict[str, Value]:
    """All entries by the fields' keys, without buttons (True and False)."""
    return {
        str(name): value
        for name, value in st.session_state.items()
        if isinstance(value, str | int | float | date | None)
        and not isinstance(value, bool)
        and not (isinstance(value, str) and len(value) > _LONGEST)
        and not str(name).startswith(_NOT_KEPT)
    }
