"""The whole way on the real page: mark a length on a listing's photo, measure, correct, and find it again."""

from __future__ import annotations

import math
import re

import pytest
from playwright.sync_api import Browser, Page, expect

from grader.measure import ByLength
from grader.photo import load_photo
from grader.samples import Sample, load_demo

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000


@pytest.fixture(scope="module")
def listing() -> tuple[Sample, ByLength]:
    """The demo's photo without a target, and the known length in it."""
    for sample in load_demo().samples:
        if isinstance(sample.request.scale, ByLength):
            return sample, sample.request.scale
    pytest.fail("no sample with a known length")


def place(page: Page, size: tuple[int, int], at: tuple[float, float]) -> tuple[float, float]:
    """A place of the photo in the window, while the whole photo is shown."""
    canvas = page.locator("canvas")
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    zoom = min(box["width"] / size[0], box["height"] / size[1])
    return (
        box["x"] + box["width"] / 2 + (at[0] - (size[0] - 1) / 2) * zoom,
        box["y"] + box["height"] / 2 + (at[1] - (size[1] - 1) / 2) * zoom,
    )


def milligrams(page: Page) -> str:
    return page.locator(".st-key-gold-now").inner_text()


def test_mark_measure_correct(browser: Browser, address: str, listing: tuple[Sample, ByLength]) -> None:
    sample, known = listing
    photo = load_photo(sample.path)
    size = (photo.width_px, photo.height_px)
    context = browser.new_context(viewport={"width": 1280, "height": 1000})
    page = context.new_page()
    troubles: list[str] = []
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.goto(f"{address}/measure")
    page.locator("input[type=file]").first.set_input_files(sample.path)
    page.get_by_label("What gives the scale?").click()
    page.get_by_role("option", name="A known length in the photo").click()
    page.locator("canvas").wait_for()
    other = page.get_by_label(re.compile("^Length"))
    other.fill(f"{known.length_mm} mm")
    other.press("Enter")
    page.wait_for_timeout(1000)
    for end in (known.start_px, known.end_px):
        page.mouse.click(*place(page, size, end))
    measure = page.get_by_role("button", name="Measure", exact=True)
    expect(measure).to_be_enabled(timeout=20_000)
    measure.click()
    page.get_by_role("button", name="Correct what was found").click(timeout=MEASURE_MS)
    page.locator(".st-key-gold-now").get_by_text("mg").wait_for(timeout=MEASURE_MS)
    # two clicks where the known ends are give the scale to a pixel in its length
    length_px = math.dist(known.start_px, known.end_px)
    told = page.get_by_text("Scale from the known length")
    before = milligrams(page)
    page.get_by_role("button", name="Next region").click()
    page.get_by_role("button", name="No gold: leave out").click()
    page.get_by_text("1 correction by hand").wait_for()
    assert milligrams(page) != before
    page.get_by_role("button", name="Undo", exact=True).click()
    page.get_by_text("Nothing was corrected yet").wait_for()
    assert milligrams(page) == before
    page.get_by_role("button", name="Redo", exact=True).click()
    page.get_by_text("1 correction by hand").wait_for()
    page.get_by_role("button", name="Done: back to the result").click()
    told.wait_for()
    scale = float(re.search(r"([\d.]+) px per mm", told.inner_text()).group(1))  # type: ignore[union-attr]
    assert scale == pytest.approx(length_px / known.length_mm, rel=0.02)
    page.get_by_text("1 correction by hand").wait_for()
    page.reload()
    page.get_by_text("1 correction by hand").wait_for(timeout=MEASURE_MS)
    assert not troubles
    context.close()
