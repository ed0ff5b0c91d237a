"""Every page can be used by thumb, by keyboard and by eye: axe-core, sizes of targets, contrast, no sideways scroll.

Checked after the Web Content Accessibility Guidelines 2.2, levels A and AA, as far as axe-core can; targets of 44 CSS
px are those of its success criterion 2.5.5 (level AAA). Nothing is left out, Streamlit's own parts neither.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import expect

from grader.learn.invented import write_invented
from grader.samples import Sample, load_demo

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000
PATHS = {"Start": ""}  # of pages that are not named after what their links say
LEAST_PX = 44
# What can be tapped, with the label for a box or dot that has one; what is not drawn or off the screen cannot be.
SMALL = """least => {
  const found = [];
  for (const e of document.querySelectorAll(
      'a[href], button, input, select, textarea, summary, [role=tab], [role=button], [role=slider]')) {
    const t = ['radio', 'checkbox'].includes(e.type) ? e.closest('label') || e : e;
    const r = t.getBoundingClientRect();
    const unseen = r.width <= 1 || r.height <= 1 || e.closest('[aria-hidden=true]')
      || !t.checkVisibility({visibilityProperty: true});
    if (!unseen && e.type !== 'file' && (r.width < least - 0.5 || r.height < least - 0.5))
      found.push(`${e.outerHTML.slice(0, 160)}: ${Math.round(r.width)} x ${Math.round(r.height)}`);
  }
  return found;
}"""
# What the tab key has to reach: of a row of tabs or dots one, for arrows move between them.
REACHABLE = """() =>
  [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
  .filter(e => { const r = e.getBoundingClientRect();
    return r.width > 1 && r.height > 1 && e.checkVisibility({visibilityProperty: true})
      && !e.disabled && e.tabIndex >= 0 && e.type !== 'radio' && !e.closest('[aria-hidden=true]'); })
  .map((e, n) => { e.dataset.seen = n; return e.outerHTML.slice(0, 160); })"""


@pytest.fixture(scope="module")
def filled_address(address: str, home: Path) -> str:
    """The page on a log that has something to show."""
    write_invented(home / "log.sqlite", 6)
    return address


def checked(window: Any, where: str) -> None:
    """Hold one state of the page against the rules."""
    window.see(window.page.get_by_role("heading", level=1))
    broken = window.violations()
    assert not broken, f"{where}: {broken}"
    assert window.sideways_px() <= 0, f"{where} scrolls sideways"
    small = window.page.evaluate(SMALL, LEAST_PX)
    assert not small, f"{where}: {small}"


def go(window: Any, name: str) -> None:
    window.press(window.page.get_by_role("link", name=name, exact=True))
    window.until(
        lambda: urlsplit(window.page.url).path.strip("/"), lambda path: path == PATHS.get(name, name.lower())
    )


@pytest.mark.parametrize(("width", "scheme"), [(1280, "dark"), (390, "light"), (390, "dark")])
def test_every_page_can_be_used_by_everyone(
    new_window: Callable[..., Any], filled_address: str, sample: Sample, width: int, scheme: Any, tmp_path: Path
) -> None:
    window = new_window(width=width, color_scheme=scheme)
    page = window.page
    window.visit(filled_address)
    checked(window, "start")
    window.press("Work through a pile")
    window.see(page.get_by_role("heading", name="How much gold"))
    checked(window, "measure")
    bad = tmp_path / "letter.jpg"
    bad.write_text("no photo")
    page.locator("input[type=file]").first.set_input_files([sample.path, load_demo().samples[1].path, bad])
    stop = page.get_by_role("button", name="Stop after this photo")
    expect(stop).to_be_visible()  # at once, for it is there only while photos are measured
    checked(window, "measuring")
    window.gone(stop, MEASURE_MS)
    window.press(page.get_by_text("Why the range is so wide"), MEASURE_MS)
    window.press(page.get_by_text("and rows of contacts"))
    checked(window, "measured")
    window.press(page.get_by_text("More photos, or measure in another way"))
    checked(window, "measure again")
    go(window, "Value")
    window.press(page.get_by_text("Chance of a loss, your costs, other ways to sell"))
    window.press(page.get_by_text("Paste the listing", exact=True))
    checked(window, "value, asked")
    window.fill("Gold price today", "2650 USD/ozt")
    window.fill("Asking price, if there is one", "120 USD")
    window.press("What can I pay?")
    window.figures(lambda told: "Highest price worth paying" in told, MEASURE_MS)
    for fold in ("Ways to deal with it, and the odds", "What the price rests on", "What to mind"):
        window.press(page.get_by_text(fold))
    checked(window, "value, answered")
    for name in ("Bench", "Lots", "Learn"):
        go(window, name)
        checked(window, name)


def test_the_tab_key_reaches_everything(new_window: Callable[..., Any], filled_address: str) -> None:
    window = new_window()
    window.visit(filled_address)
    for name in ("Start", "Measure", "Value", "Lots"):
        go(window, name)
        wanted = window.page.evaluate(REACHABLE)
        assert len(wanted) > 6
        reached: set[int] = set()
        for _ in range(3 * len(wanted)):
            window.page.keyboard.press("Tab")
            seen = window.page.evaluate("document.activeElement.dataset.seen")
            if seen is not None:
                reached.add(int(seen))
            if len(reached) == len(wanted):
                break
        missed = [html for n, html in enumerate(wanted) if n not in reached]
        assert not missed, f"{name}: {missed}"
