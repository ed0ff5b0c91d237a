"""The page in a real browser: the three jobs walked, their figures read off the screen, nothing lost on the way."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import pytest
from playwright.sync_api import expect

from app.lots.shelf import Kept
from grader.samples import Sample, load_demo
from grader.units import format_range

pytestmark = pytest.mark.browser

MEASURE_MS = 120_000
HIGHEST = "Highest price worth paying"


def begin(window: Any, job: str) -> None:
    window.press(job)
    window.gone(window.page.get_by_role("heading", level=1, name="What do you want to do?"))


def measure(window: Any, *paths: object) -> None:
    window.rest()
    window.page.locator("input[type=file]").first.set_input_files([str(path) for path in paths])


@pytest.mark.parametrize("width", [1280, 390])
def test_a_listing_is_priced_and_outlives_a_reload(
    new_window: Callable[..., Any], address: str, sample: Sample, measured: Kept, width: int
) -> None:
    window = new_window(width=width)
    window.visit(address)
    window.fill("Its name", f"Listing {width}")
    measure(window, sample.path)
    expected = {
        "Plated area": _reading(measured, "plated_area_mm2", "mm²"),
        "Gold in the visible plating": _reading(measured, "gold_mg", "mg"),
    }
    window.see(window.page.get_by_label("The photo with what was found"), MEASURE_MS)
    window.fill("Gold price today", "2650")
    window.fill("Asking price, if there is one", "120")
    window.press("What can I pay?")
    bid = window.figures(lambda figures: HIGHEST in figures, MEASURE_MS)
    window.see("Visible plating only")
    window.page.reload()
    assert window.figures(lambda figures: HIGHEST in figures, MEASURE_MS) == bid
    window.press(window.page.get_by_text("More pictures, or look closer"))
    window.press(window.page.get_by_role("link", name="What was found, and how to correct it"))
    assert window.figures(lambda figures: "Plated area" in figures) == expected
    window.press(window.page.get_by_role("link", name="Next: Photos and price"))
    window.figures(lambda figures: HIGHEST in figures, MEASURE_MS)
    window.press(window.page.locator("summary").get_by_text("Keep this lot"))
    window.press("Keep this lot")
    window.see(f"Lot Listing {width} is kept")
    window.press(window.page.get_by_role("link", name="Next: Keep this lot"))
    window.fill("Total paid to the seller", "85 USD")
    window.press("Add the purchase")
    window.see("Check the price, its decimal point and the currency.")  # 85 USD for what brings a few
    window.press(window.page.get_by_text("It is right: keep it all the same"))
    window.press("Add the purchase")
    window.see(f"Purchase of Listing {width} added.")
    window.see(window.page.get_by_role("link", name="Back to the start"))


def test_a_pile_goes_from_photos_to_the_bench(new_window: Callable[..., Any], address: str, sample: Sample) -> None:
    window = new_window(width=390)
    window.visit(address)
    begin(window, "Work through a pile")
    measure(window, sample.path)
    window.press(window.page.get_by_role("link", name="Next: Sort and cut"), MEASURE_MS)
    window.see(window.page.get_by_role("heading", level=1, name="Which boards are worth the acid"))
    window.see(window.page.get_by_text(sample.path.name).first)


def test_gold_is_weighed_and_logged(new_window: Callable[..., Any], address: str) -> None:
    window = new_window(width=390)
    window.visit(address)
    begin(window, "Weigh and log")
    window.see(window.page.get_by_role("heading", level=1, name="Keep this lot"))
    window.fill("Its name", "Drawer 9")
    window.press("Keep this lot")
    window.see("Lot Drawer 9 is kept")
    window.fill("Gold as weighed", "0.35 g")
    window.press("Add the yield")
    window.see("Yield of Drawer 9 added.")
    window.press(window.page.get_by_role("link", name="Next: What it taught"))
    window.see(window.page.get_by_role("heading", level=1, name="What your yields teach"))


def smaller(path: Path, folder: Path) -> Path:
    """A photo of half the size, which is measured faster."""
    photo = cv2.imread(str(path))
    made = folder / path.name
    assert cv2.imwrite(str(made), cv2.resize(photo, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    return made


def test_a_row_of_photos_can_be_stopped_and_gone_on_with(
    new_window: Callable[..., Any], address: str, tmp_path: Path
) -> None:
    first, *others = (sample.path for sample in load_demo().samples[:4])
    paths = [first, *(smaller(path, tmp_path) for path in others)]
    window = new_window()
    window.visit(address)
    measure(window, *paths)
    stop = window.page.get_by_role("button", name="Stop after this photo")
    stop.click()  # at once: while photos are measured this part is drawn anew each second
    stopping = window.page.get_by_text("Stopping: the photo that was begun is measured to its end.")
    expect(stopping.first).to_be_visible()
    window.press("Go on measuring: 3 photos left", MEASURE_MS)
    expect(window.page.get_by_text("of 3 photos are measured").first).to_be_visible()
    window.gone(stop, MEASURE_MS)
    window.see(window.page.get_by_text("4 photos").first)
    window.press(window.page.get_by_label("Photo shown"))
    for path in paths:
        window.see(window.page.get_by_role("option", name=path.name))


def _reading(measured: Kept, key: str, unit: str) -> str:
    return format_range(getattr(measured.measured, key), unit).partition(" (")[0]
