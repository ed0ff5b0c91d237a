"""The whole way on the real page: mark a length on a listing's photo, measure, correct, and find it again."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

import pytest

from grader.photo import load_photo
from grader.samples import Sample, load_demo
from grader.scale_choice import ByLength

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000


@pytest.fixture(scope="module")
def listing() -> tuple[Sample, ByLength]:
    """The demo's photo without a target, and the known length in it."""
    for sample in load_demo().samples:
        if isinstance(sample.request.scale, ByLength):
            return sample, sample.request.scale
    pytest.fail("no sample with a known length")


def place(window: Any, size: tuple[int, int], at: tuple[float, float]) -> tuple[float, float]:
    """A place of the photo in the window, while the whole photo is shown."""
    canvas = window.see(window.page.locator(".st-key-no-scale canvas"))
    canvas.scroll_into_view_if_needed()
    box = canvas.bounding_box()
    assert box is not None
    zoom = min(box["width"] / size[0], box["height"] / size[1])
    return (
        box["x"] + box["width"] / 2 + (at[0] - (size[0] - 1) / 2) * zoom,
        box["y"] + box["height"] / 2 + (at[1] - (size[1] - 1) / 2) * zoom,
    )


def test_mark_measure_correct(new_window: Callable[..., Any], address: str, listing: tuple[Sample, ByLength]) -> None:
    sample, known = listing
    photo = load_photo(sample.path)
    size = (photo.width_px, photo.height_px)
    window = new_window()
    page = window.page

    def milligrams(is_so: Callable[[str], bool]) -> str:
        gold = page.locator(".st-key-gold-now")
        (told,) = window.until(
            gold.all_inner_texts, lambda texts: len(texts) == 1 and "mg" in texts[0] and is_so(texts[0]), MEASURE_MS
        )
        return str(told)

    window.visit(address, "measure")
    page.locator("input[type=file]").first.set_input_files(sample.path)
    window.press("Mark something of known size", MEASURE_MS)
    window.press(page.get_by_label("What of known size lies in the picture?"))
    page.get_by_role("option", name="Another length, which you type").click()
    window.see(page.locator(".st-key-no-scale canvas"))
    window.fill(re.compile("^Length"), f"{known.length_mm} mm")
    for end in (known.start_px, known.end_px):
        page.mouse.click(*place(window, size, end))
    window.press("Measure with it")
    window.press("Correct what was found", MEASURE_MS)
    # two clicks where the known ends are give the scale to a pixel in its length
    length_px = math.dist(known.start_px, known.end_px)
    before = milligrams(lambda told: True)
    window.press("Its whole board")
    window.press("Next place")
    window.press("No gold")
    window.see("1 correction by hand")
    milligrams(lambda told: told != before)
    window.press(page.get_by_role("button", name="Undo", exact=True))
    window.see("Nothing was corrected yet")
    milligrams(lambda told: told == before)
    window.press(page.get_by_role("button", name="Redo", exact=True))
    window.see("1 correction by hand")
    window.press("Back to the result")
    (told,) = window.until(
        page.get_by_text("Scale from the known length").all_inner_texts, lambda texts: len(texts) == 1
    )
    scale = float(re.search(r"([\d.]+) px per mm", told).group(1))  # type: ignore[union-attr]
    assert scale == pytest.approx(length_px / known.length_mm, rel=0.02)
    window.see("1 correction by hand")
    page.reload()
    window.see("1 correction by hand", MEASURE_MS)

    def corrected(words: str) -> None:
        window.press("Correct what was found", MEASURE_MS)
        window.see(page.locator("canvas[aria-label*='Enter acts']"), MEASURE_MS)
        window.see(words)

    # the next page is asked for before the stroke can have been worked with
    corrected("1 correction by hand")
    window.press("Next place")
    page.get_by_role("button", name="immersion gold", exact=True).click()
    page.get_by_role("link", name="Bench", exact=True).click()
    window.see(page.get_by_role("heading", level=1, name="Which boards are worth the acid"), MEASURE_MS)
    window.press(page.get_by_role("link", name="Start", exact=True))
    window.press(page.get_by_role("link", name="Measure", exact=True))
    window.see("2 corrections by hand", MEASURE_MS)
    # undoing and redoing outlive the window
    window.press(page.get_by_role("button", name="Undo", exact=True))
    window.see("1 correction by hand")
    page.reload()
    corrected("1 correction by hand")
    window.press(page.get_by_role("button", name="Redo", exact=True))
    window.see("2 corrections by hand")
