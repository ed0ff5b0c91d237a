"""The bench in a real browser: a sample sorted, cut and planned on a wide and on a narrow window."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.browser

WAIT_MS = 120_000


@pytest.mark.parametrize("width", [1280, 390])
def test_a_sample_is_sorted_cut_and_planned(
    new_window: Callable[..., Any], address: str, measured_lot: str, width: int
) -> None:
    window = new_window(width=width)
    page = window.page
    window.visit(address, f"measure?lot={measured_lot}")
    window.figures()
    window.press(page.get_by_role("link", name="Bench", exact=True))
    window.fill("Gold price today", "2650 USD/ozt")
    window.press("Sort and plan")
    window.see(page.locator(".st-key-bench-card"), WAIT_MS)
    counts = [int(count) for count in window.figures().values()]
    window.press(page.get_by_text(re.compile("^Board by board")))
    pictures = page.get_by_role("img", name=re.compile(", board [0-9]+: "))
    assert window.until(pictures.count, lambda shown: shown == sum(counts)) > 0
    window.press(page.get_by_text(re.compile("^Where to cut: ")))
    window.press(page.get_by_text("all", exact=True))
    window.see(page.get_by_role("img", name="Where to cut the boards"), WAIT_MS)
    with page.expect_download(timeout=WAIT_MS) as download:
        window.press("Template at true size (PDF)")
    assert download.value.path().read_bytes().startswith(b"%PDF")
    window.press(page.get_by_text("Report to take along", exact=True))
    with page.expect_download(timeout=WAIT_MS) as download:
        window.press("Report (PDF)")
    assert download.value.path().read_bytes().startswith(b"%PDF")
    assert window.sideways_px() <= 0
    window.see(page.get_by_text("it is not a procedure").first)
