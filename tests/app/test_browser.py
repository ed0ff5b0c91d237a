"""The page in a real browser: the three jobs walked, their figures read off the screen, nothing lost on the way."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Browser, Page, expect

from app.shelf import Kept
from grader.model import Range
from grader.samples import Sample, load_demo
from grader.units import format_range

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000


@contextmanager
def window(browser: Browser, address: str, width: int) -> Iterator[Page]:
    """A window of its own; nothing may go wrong in it, nor may it ask another machine for anything."""
    context = browser.new_context(viewport={"width": width, "height": 844})
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    # what is still on its way when the page is left or loaded again is dropped by the browser itself
    page.on(
        "requestfailed",
        lambda request: problems.append(request.url) if request.failure != "net::ERR_ABORTED" else None,
    )
    page.on("request", lambda request: problems.append(request.url) if not _is_ours(request.url, address) else None)
    # Streamlit first looks for its own parts below the page's address, then at the root
    page.on(
        "response",
        lambda answer: (
            problems.append(f"{answer.status} {answer.url}") if _is_bad(answer.status, answer.url) else None
        ),
    )
    page.goto(address)
    yield page
    assert not problems
    context.close()


def _is_bad(status: int, url: str) -> bool:
    return status >= 400 and not url.endswith(("/_stcore/health", "/_stcore/host-config"))


def begin(page: Page, job: str) -> None:
    page.get_by_role("button", name=job).click()
    page.get_by_role("heading", level=1, name="What do you want to do?").wait_for(state="detached")


def measure(page: Page, *paths: object) -> None:
    page.locator("input[type=file]").first.set_input_files([str(path) for path in paths])
    button = "Measure" if len(paths) == 1 else f"Measure {len(paths)} photos"
    page.get_by_role("button", name=button, exact=True).click()


def press(page: Page, button: str) -> None:
    """Click once nothing is drawn any more: a click on what still moves is lost."""
    page.get_by_role("button", name=button).wait_for()
    page.wait_for_function("document.querySelector('[data-testid=stApp]').dataset.testScriptState !== 'running'")
    page.wait_for_timeout(300)
    page.get_by_role("button", name=button).click()


def figures(page: Page) -> dict[str, str]:
    page.get_by_test_id("stMetric").first.wait_for(timeout=MEASURE_MS)
    return {
        figure.get_by_test_id("stMetricLabel").inner_text(): figure.get_by_test_id("stMetricValue").inner_text()
        for figure in page.get_by_test_id("stMetric").all()
    }


@pytest.mark.parametrize("width", [1280, 390])
def test_a_listing_is_priced_and_outlives_a_reload(
    browser: Browser, address: str, sample: Sample, measured: Kept, width: int
) -> None:
    with window(browser, address, width) as page:
        page.get_by_label("Its name").fill(f"Listing {width}")
        page.keyboard.press("Tab")
        begin(page, "Price a listing")
        measure(page, sample.path)
        expected = {
            "Plated area": _reading(measured, "plated_area_mm2", "mm²"),
            "Gold in the visible plating": _reading(measured, "gold_mg", "mg"),
        }
        assert figures(page) == expected
        page.get_by_role("img", name="The photo with the plating coloured by finish").wait_for()
        assert page.get_by_text("Visible plating only").is_visible()
        page.reload()
        assert figures(page) == expected
        page.get_by_role("link", name="Next: Price").click()
        page.get_by_label("Gold price today").fill("2650 USD/ozt")
        page.get_by_label("Asking price, if there is one").fill("120 USD")
        press(page, "What can I pay?")
        assert "Highest price worth paying" in figures(page)
        press(page, "Keep in the log")
        page.get_by_text(f"Kept in lot Listing {width}").wait_for()
        page.get_by_role("link", name="Next: Write down").click()
        page.get_by_label("All that was paid to the seller").fill("85 USD")
        press(page, "Record the purchase")
        page.get_by_text(f"Purchase of Listing {width} recorded.").wait_for()
        page.get_by_role("link", name="Back to the start").wait_for()


def test_a_pile_goes_from_photos_to_the_bench(browser: Browser, address: str, sample: Sample) -> None:
    with window(browser, address, 390) as page:
        begin(page, "Work through a pile")
        measure(page, sample.path)
        page.get_by_role("link", name="Next: Sort and cut").click(timeout=MEASURE_MS)
        page.get_by_role("heading", level=1, name="Which boards are worth the acid").wait_for()
        expect(page.get_by_text(sample.path.name).first).to_be_visible()


def test_gold_is_weighed_and_logged(browser: Browser, address: str) -> None:
    with window(browser, address, 390) as page:
        begin(page, "Weigh and log")
        page.get_by_role("heading", level=1, name="Lots in the log").wait_for()
        start = page.get_by_text("Start a lot", exact=True)
        start.wait_for()
        if not page.get_by_label("Name", exact=True).is_visible():
            start.click()
            page.wait_for_timeout(1000)  # it opens slowly, and a click on what still moves is lost
        page.get_by_label("Name", exact=True).fill("Drawer 9")
        press(page, "Start this lot")
        page.get_by_text("Lot Drawer 9 started.").wait_for()
        expect(page.get_by_label("Gold as weighed")).to_have_count(1)  # the form of the lot before is gone
        page.get_by_label("Gold as weighed").fill("0.35 g")
        press(page, "Record the yield")
        page.get_by_text("Yield of Drawer 9 recorded.").wait_for()
        page.get_by_role("link", name="Next: What it taught").click()
        page.get_by_role("heading", level=1, name="What your yields teach").wait_for()


def test_a_row_of_photos_can_be_stopped_and_gone_on_with(browser: Browser, address: str) -> None:
    paths = [sample.path for sample in load_demo().samples[:4]]
    with window(browser, address, 1280) as page:
        begin(page, "Price a listing")
        measure(page, *paths)
        page.get_by_role("button", name="Stop after this photo").click()
        page.get_by_text("Stopping: the photo that was begun is measured to its end.").wait_for()
        rest = page.get_by_role("button", name="Measure 3 photos", exact=True)
        rest.wait_for(timeout=MEASURE_MS)
        rest.click()
        page.get_by_text("of 3 photos measured").wait_for()
        expect(page.get_by_role("button", name="Stop after this photo")).to_have_count(0, timeout=MEASURE_MS)
        for path in paths:
            expect(page.get_by_text(path.name).first).to_be_visible()
        assert page.get_by_text("4 photos").first.is_visible()


def _is_ours(url: str, address: str) -> bool:
    return url.startswith((address, "data:", "blob:", address.replace("http", "ws")))


def _reading(measured: Kept, key: str, unit: str) -> str:
    return format_range(Range(**measured.document[key]), unit).partition(" (")[0]
