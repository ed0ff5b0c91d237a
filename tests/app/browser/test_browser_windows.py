"""Two windows on one lot in a real browser: each sees soon what the other did, and keeps what is half typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser


def test_a_change_is_seen_in_the_other_window_and_what_is_half_typed_stays(
    new_window: Callable[..., Any], address: str, measured_lot: str
) -> None:
    one, other = new_window(), new_window(width=390)
    for window in (one, other):
        window.visit(address, f"lots?lot={measured_lot}")
    note = one.see(one.page.get_by_label("Note", exact=True))
    note.click()
    one.page.keyboard.type("half")
    other.fill("Seller, as you like to write it", "the fair")
    seller = one.page.get_by_label("Seller, as you like to write it")
    one.until(lambda: seller.evaluate_all("all => all.map(e => e.value)"), lambda told: told == ["the fair"])
    one.page.keyboard.type(" typed")
    assert note.input_value() == "half typed"
    note.press("Tab")
    fields = other.page.get_by_label("Note", exact=True)
    other.until(lambda: fields.evaluate_all("all => all.map(e => e.value)"), lambda told: told == ["half typed"])


def test_a_correction_comes_into_the_other_window(
    new_window: Callable[..., Any], address: str, measured_lot: str
) -> None:
    one, other = new_window(), new_window(width=390)
    for window in (one, other):
        window.visit(address, f"measure?lot={measured_lot}")
        window.press("Correct what was found")
        window.see("Nothing was corrected yet", 120_000)
    one.press("Next place")
    one.press(one.page.get_by_role("button", name="No gold", exact=True))
    other.see("1 correction by hand", 120_000)
    other.press(other.page.get_by_role("button", name="Undo", exact=True))
    one.see("Nothing was corrected yet", 120_000)
    assert one.page.get_by_role("button", name="Redo", exact=True).is_enabled(), "the other one's step can be redone"
