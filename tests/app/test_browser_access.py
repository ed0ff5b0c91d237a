"""Every page can be used by thumb, by keyboard and by eye: axe-core, sizes of targets, contrast, no sideways scroll.

Checked after the Web Content Accessibility Guidelines 2.2, levels A and AA, as far as axe-core can; targets of 44 CSS
px are those of its success criterion 2.5.5 (level AAA). Nothing is left out, Streamlit's own parts neither.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from grader.learn.invented import write_invented
from grader.samples import Sample, load_demo

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
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
SIDEWAYS = """() => Math.max(...[document.documentElement, document.querySelector('[data-testid=stMain]')]
  .map(e => e.scrollWidth - e.clientWidth))"""
# What the tab key has to reach: of a row of tabs or dots one, for arrows move between them.
REACHABLE = """() =>
  [...document.querySelectorAll('a[href], button, input, select, textarea, summary, [tabindex="0"]')]
  .filter(e => { const r = e.getBoundingClientRect();
    return r.width > 1 && r.height > 1 && e.checkVisibility({visibilityProperty: true})
      && !e.disabled && e.tabIndex >= 0 && e.type !== 'radio' && !e.closest('[aria-hidden=true]'); })
  .map((e, n) => { e.dataset.seen = n; return e.outerHTML.slice(0, 160); })"""


@pytest.fixture(scope="module")
def axe() -> str:
    return files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8")


@pytest.fixture(scope="module")
def filled_address(address: str, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The page on a log that has something to show."""
    write_invented(next(tmp_path_factory.getbasetemp().glob("page*/")) / "log.sqlite", 6)
    return address


def settled(page: Page) -> None:
    """Wait until the page is drawn and nothing runs."""
    page.get_by_role("heading", level=1).wait_for()
    page.wait_for_function("document.querySelector('[data-testid=stApp]').dataset.testScriptState !== 'running'")
    page.wait_for_timeout(300)


def checked(page: Page, axe: str, where: str) -> None:
    """Hold one state of the page against the rules."""
    settled(page)
    page.evaluate(axe)
    found: dict[str, Any] = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})", RULES
    )
    broken = [f"{v['id']}: {node['html'][:200]}" for v in found["violations"] for node in v["nodes"]]
    assert len(found["passes"]) > 10, "axe-core looked at nothing"
    assert not broken, f"{where}: {broken}"
    assert page.evaluate(SIDEWAYS) <= 0, f"{where} scrolls sideways"
    small = page.evaluate(SMALL, LEAST_PX)
    assert not small, f"{where}: {small}"


def go(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).click()
    settled(page)


@pytest.mark.parametrize(("width", "scheme"), [(1280, "dark"), (390, "light"), (390, "dark")])
def test_every_page_can_be_used_by_everyone(
    browser: Browser, filled_address: str, axe: str, sample: Sample, width: int, scheme: Any, tmp_path: Path
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844}, color_scheme=scheme)
    page.goto(filled_address)
    checked(page, axe, "start")
    page.get_by_role("button", name="Price a listing").click()
    page.get_by_role("heading", name="How much gold").wait_for()
    checked(page, axe, "measure")
    bad = tmp_path / "letter.jpg"
    bad.write_text("no photo")
    page.locator("input[type=file]").first.set_input_files([sample.path, load_demo().samples[1].path, bad])
    page.get_by_role("button", name="Measure 3 photos").wait_for()
    page.get_by_text("Choose which photos").click()
    page.get_by_label("What gives the scale?").wait_for()
    checked(page, axe, "photos chosen")
    page.get_by_role("button", name="Measure 3 photos").click()
    page.get_by_role("button", name="Stop after this photo").wait_for()
    checked(page, axe, "measuring")
    page.get_by_role("button", name="Stop after this photo").wait_for(state="detached", timeout=MEASURE_MS)
    page.get_by_text("Why the range is so wide").click(timeout=MEASURE_MS)
    page.get_by_text("and rows of contacts").click()
    checked(page, axe, "measured")
    go(page, "Value")
    page.get_by_text("Your buyer, your process, your costs").click()
    page.get_by_text("Selling by weight instead").click()
    page.get_by_label("Gold price today").fill("2650 USD/ozt")
    page.get_by_label("Asking price, if there is one").fill("120 USD")
    page.get_by_role("button", name="What can I pay?").click()
    page.get_by_test_id("stMetric").first.wait_for(timeout=MEASURE_MS)
    page.get_by_text("What was assumed").click()
    checked(page, axe, "value")
    for name in ("Bench", "Log", "Learn"):
        go(page, name)
        checked(page, axe, name)
    page.close()


def test_the_tab_key_reaches_everything(browser: Browser, filled_address: str) -> None:
    page = browser.new_page(viewport={"width": 1280, "height": 844})
    page.goto(filled_address)
    for name in ("Start", "Measure", "Value", "Log"):
        go(page, name)
        wanted = page.evaluate(REACHABLE)
        assert len(wanted) > 6
        reached: set[int] = set()
        for _ in range(3 * len(wanted)):
            page.keyboard.press("Tab")
            seen = page.evaluate("document.activeElement.dataset.seen")
            if seen is not None:
                reached.add(int(seen))
        missed = [html for n, html in enumerate(wanted) if n not in reached]
        assert not missed, f"{name}: {missed}"
    page.close()


def test_a_photo_is_measured_by_keys_alone(browser: Browser, address: str, sample: Sample) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.goto(address)
    settled(page)
    page.get_by_role("button", name="Price a listing").focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="How much gold").wait_for()
    settled(page)
    upload = page.get_by_test_id("stFileUploaderDropzone").locator("button").first
    page.wait_for_load_state("networkidle")  # the uploader's own part comes late, and takes no key before
    page.wait_for_timeout(1000)
    with page.expect_file_chooser() as chooser:
        upload.press("Enter")
    chooser.value.set_files(sample.path)
    measure = page.get_by_role("button", name="Measure", exact=True)
    measure.wait_for()
    measure.focus()
    page.keyboard.press("Enter")
    page.get_by_test_id("stMetric").first.wait_for(timeout=MEASURE_MS)
    step = page.get_by_role("link", name="Next: Price")
    step.focus()
    page.keyboard.press("Enter")
    page.get_by_role("heading", name="What is it worth?").wait_for()
    page.close()
