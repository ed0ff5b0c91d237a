"""The bench in a real browser: a sample sorted, cut and planned on a wide and on a narrow window."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Browser, expect

from grader.samples import Sample

pytestmark = pytest.mark.browser

WAIT_MS = 120_000


@pytest.mark.parametrize("width", [1280, 390])
def test_a_sample_is_sorted_cut_and_planned(browser: Browser, address: str, sample: Sample, width: int) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.goto(f"{address}/measure")
    page.locator("input[type=file]").first.set_input_files(sample.path)
    page.get_by_role("button", name="Measure", exact=True).click()
    page.get_by_test_id("stMetric").first.wait_for(timeout=WAIT_MS)
    page.get_by_role("link", name="Bench", exact=True).click()
    page.get_by_label("Gold price today").fill("2650 USD/ozt")
    page.get_by_role("button", name="Sort and plan").click()
    expect(page.get_by_role("heading", name="What the batch needs")).to_be_visible(timeout=WAIT_MS)
    counts = [int(figure.inner_text()) for figure in page.get_by_test_id("stMetricValue").all()]
    pictures = page.get_by_role("img", name=re.compile("^Board [0-9]"))
    assert sum(counts) == pictures.count() > 0
    page.get_by_text("all", exact=True).click()
    cuts = page.get_by_role("img", name="Where to cut the boards")
    cuts.wait_for(timeout=WAIT_MS)
    with page.expect_download(timeout=WAIT_MS) as download:
        page.get_by_role("button", name="Template at true size (PDF)").click()
    assert download.value.path().read_bytes().startswith(b"%PDF")
    sideways = page.evaluate(
        "Math.max(...[document.documentElement, document.querySelector('[data-testid=stMain]')]"
        ".map(e => e.scrollWidth - e.clientWidth))"
    )
    assert sideways <= 0
    assert page.get_by_text("it is no procedure").first.is_visible()
    assert not problems
    page.close()
