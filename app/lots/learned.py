"""Lessons of the log, computed once for each state of the log."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import streamlit as st

from app.lots.keep import chosen_log, read_log
from calibration.thickness import Finish, GoldProperties
from grader.learn import Newest, newest_in
from grader.learn.choice import with_learned_choice
from grader.learn.tables import belief_sentences
from grader.log import Contents
from grader.log.store_postgres import is_url
from grader.lot import Lot
from grader.places import log_path as usual_log_path

_KNOWN = "learned"
_ANY = ""


def contents_and_belief() -> tuple[Contents, Newest | None] | None:
    """The whole log and its newest belief; None if there is no log."""
    state = _state_of_file()
    if state is None:
        return None
    known: Mapping[str, Any] = st.session_state.get(_KNOWN, {})
    if known.get("state") != state:
        found = read_log(lambda log: (newest_in(log), log.contents()))
        if found is None:
            return None
        known = {"state": _state_of_file(), "belief": found[0], "contents": found[1]}
        st.session_state[_KNOWN] = known
    return known["contents"], known["belief"]


def _state_of_file() -> tuple[str, int, int] | None:
    path = chosen_log() or usual_log_path()
    if is_url(path):
        found = read_log(lambda log: log.contents())
        return None if found is None else (str(path), len(found.yields) + len(found.estimates), _marks(found))
    try:
        about = Path(path).stat()
    except OSError:
        return None
    return str(path), about.st_mtime_ns, about.st_size


def _marks(contents: Contents) -> int:
    money = len(contents.purchases) + len(contents.money) + len(contents.offers)
    return len(contents.exclusions) + len(contents.marks) + len(contents.lots) + money


def ask_properties() -> Mapping[Finish, GoldProperties] | None:
    """Ask which thickness to measure with: the one learned for such boards, or None for the published one."""
    found = contents_and_belief()
    if found is None or found[1] is None:
        return None
    contents, belief = found
    assert belief is not None  # noqa: S101 - checked above
    with st.expander("Use what your yields taught", icon=":material/school:"):
        if not st.checkbox("Use it: gold is then what your process recovers", value=True, key="use-belief"):
            return None
        st.markdown(" ".join(belief_sentences(belief)[:1]))
        parts, sellers = ([_ANY, *sorted({n for n in names if n})] for names in _names(contents))
        part = st.selectbox("Kind of boards", parts, format_func=lambda n: n or "another, or unknown", key="part")
        seller = st.selectbox("Seller", sellers, format_func=lambda n: n or "another, or unknown", key="seller")
    return belief.properties(part, seller)


def _names(contents: Contents) -> tuple[list[str], list[str]]:
    return [lot.part for lot in contents.lots], [lot.seller for lot in contents.lots]


def with_what_was_learned(lot: Lot) -> Lot:
    """The lot, adjusted by what was learned about the seller and the kind of boards chosen last."""
    if not st.session_state.get("use-belief", True):
        return lot
    found = contents_and_belief()
    part, seller = (str(st.session_state.get(key) or "") for key in ("part", "seller"))
    return lot if found is None else with_learned_choice(lot, found[1], seller, part)


def usual_properties() -> Mapping[Finish, GoldProperties] | None:
    """The default for measuring: the last choice, otherwise the values learned from yields."""
    if not st.session_state.get("use-belief", True):
        return None
    found = contents_and_belief()
    if found is None or found[1] is None:
        return None
    return found[1].properties(str(st.session_state.get("part") or ""), str(st.session_state.get("seller") or ""))
