"""Changes of several windows go together, and what one replaces unseen is kept until somebody decides."""

from __future__ import annotations

from datetime import date
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from app.lots.entries import Clash, Value, clashes_in, empty_entries, enter, entries_in, settle

NAMES = st.sampled_from(["asking", "lot-name", "count"])
VALUES = st.sampled_from(["120 USD", "90 USD", 3, 4.5, date(2026, 11, 25)])


def kept(**entries: Value) -> dict[str, Any]:
    fresh = empty_entries()
    enter(fresh, entries)
    return fresh


def test_other_fields_stay() -> None:
    lot = kept(name="Shelf 3")
    enter(lot, {"asking": "120 USD"}, {"asking": ""})
    enter(lot, {"name": "Shelf 4"}, {"name": "Shelf 3", "asking": ""})
    assert entries_in(lot) == {"name": "Shelf 4", "asking": "120 USD"}
    assert clashes_in(lot) == ()


def test_the_last_word_stands_and_what_it_had_not_seen_is_kept() -> None:
    lot = kept(asking="100 USD")
    enter(lot, {"asking": "120 USD"}, {"asking": "100 USD"})
    enter(lot, {"asking": "90 USD"}, {"asking": "100 USD"})
    assert clashes_in(lot) == (Clash("asking", "90 USD", ("120 USD",)),)
    settle(lot, clashes_in(lot)[0], "120 USD")
    assert entries_in(lot) == {"asking": "120 USD"}
    assert clashes_in(lot) == ()


def test_a_field_drawn_for_the_first_time_does_not_replace_what_another_window_entered() -> None:
    lot = kept(count=7)
    enter(lot, {"count": 1}, {})
    assert entries_in(lot) == {"count": 7}
    assert clashes_in(lot) == ()


def test_a_decision_about_what_has_changed_since_decides_nothing() -> None:
    lot = kept(asking="100 USD")
    enter(lot, {"asking": "120 USD"}, {"asking": ""})
    old = clashes_in(lot)[0]
    enter(lot, {"asking": "80 USD"}, {"asking": "120 USD"})
    settle(lot, old, "100 USD")
    assert clashes_in(lot) == (Clash("asking", "80 USD", ("100 USD",)),)


@given(st.lists(st.tuples(st.integers(0, 2), NAMES, VALUES, st.booleans()), max_size=30))
def test_nothing_that_was_entered_is_replaced_unseen(steps: list[tuple[int, str, Value, bool]]) -> None:
    """Three windows; each step one of them enters something, having looked at the others' changes or not."""
    lot = kept(asking="-", **{"lot-name": "-", "count": 0})
    seen: list[dict[str, Value]] = [entries_in(lot) for _ in range(3)]
    for window, name, value, looks in steps:
        if looks:
            seen[window] = entries_in(lot)
        before = entries_in(lot)[name]
        enter(lot, {name: value}, seen[window])
        if before not in (seen[window][name], value):
            assert before in {n: c.others for n, c in ((c.name, c) for c in clashes_in(lot))}[name]
        seen[window] = {**seen[window], name: value}
        assert entries_in(lot)[name] == value
    for clash in clashes_in(lot):
        assert len(set(map(repr, clash.others))) == len(clash.others)
