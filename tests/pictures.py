"""The guide's pictures, the icon and the picture on the start page, made from the running product.

python -m tests.pictures            # all of them; needs Chromium
python -m tests.pictures --overlays # those that need no browser
"""

from __future__ import annotations

import argparse
import io
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

import grader
from grader.samples import samples_folder
from tests.app.browser.conftest import CHROMIUM_FLAGS, Window, _served

ROOT = Path(__file__).parents[1]
PICTURES = ROOT / "docs" / "pictures"
MARK = ROOT / "app" / "common" / "mark"
SAMPLE = "memory-modules.jpg"
WIDTH_PX, ICON_PX, START_PX = 1000, 64, (1200, 360)
_BOARDS_FROM = 0.6  # of the sample's width: two boards from there on
PHONE, MEASURE_MS = (390, 844), 300_000


def overlays() -> dict[Path, bytes]:
    """The sample as taken and as measured, and both side by side for the start page."""
    done = grader.measure(samples_folder() / SAMPLE, published=True)
    with Image.open(samples_folder() / SAMPLE) as opened:
        photo = opened.convert("RGB")
    found = done.overlay(max_side_px=max(photo.size)).convert("RGB")
    small = (WIDTH_PX, round(WIDTH_PX * photo.height / photo.width))
    return {
        PICTURES / "photo.jpg": _jpeg(photo.resize(small, Image.Resampling.LANCZOS)),
        PICTURES / "found.jpg": _jpeg(done.overlay(max_side_px=WIDTH_PX).convert("RGB")),
        MARK / "start.jpg": _jpeg(_half_and_half(photo, found)),
    }


def _half_and_half(photo: Image.Image, found: Image.Image) -> Image.Image:
    """A strip along two boards, lying: left as taken, right as measured."""
    width, height = photo.size
    wide = round(height * START_PX[1] / START_PX[0])  # the photo's height becomes the strip's width
    box = (round(_BOARDS_FROM * width), 0, round(_BOARDS_FROM * width) + wide, height)
    strip, right = (p.crop(box).transpose(Image.Transpose.ROTATE_270) for p in (photo, found))
    middle = strip.width // 2
    strip.paste(right.crop((middle, 0, strip.width, strip.height)), (middle, 0))
    strip.paste((251, 251, 248), (middle - 3, 0, middle + 3, strip.height))
    return strip.resize(START_PX, Image.Resampling.LANCZOS)


def _jpeg(picture: Image.Image) -> bytes:
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=82, optimize=True, progressive=True)
    return file.getvalue()


def icon(browser: Browser) -> bytes:
    """The mark as a picture for the window."""
    page = browser.new_page(viewport={"width": ICON_PX, "height": ICON_PX})
    svg = (MARK / "mark.svg").read_text("utf-8")
    page.set_content(f"<style>body {{margin: 0}} svg {{width: {ICON_PX}px; display: block}}</style>{svg}")
    made = page.screenshot(omit_background=True)
    page.close()
    return made


def screens(browser: Browser) -> dict[Path, bytes]:
    """The page on a phone: the start; the sample as a listing, its price in light and its photo in dark."""
    made: dict[Path, bytes] = {}
    with (
        tempfile.TemporaryDirectory() as folder,
        _served(["grader", "page", "--no-browser"], Path(folder)) as address,
    ):
        photo = Path(shutil.copy(samples_folder() / SAMPLE, folder))
        with _window(browser, "light") as window:
            window.visit(address)
            made[PICTURES / "phone-start.png"] = window.page.screenshot()
            _price(window, photo)
            made[PICTURES / "phone-price.png"] = window.page.screenshot()
            here = window.page.url.removeprefix(f"{address}/")
        with _window(browser, "dark") as window:
            window.visit(address, here)
            made[PICTURES / "phone-photo-dark.png"] = window.page.screenshot()
    return made


def _price(window: Window, photo: Path) -> None:
    """From the picture to the bid, as a person gets there."""
    page = window.page
    with page.expect_file_chooser() as chooser:
        window.press(page.get_by_test_id("stFileUploaderDropzone").locator("button").first)
    chooser.value.set_files([str(photo)])
    window.gone(page.locator(".st-key-measuring"), MEASURE_MS)
    window.fill("How much is for sale", "2000 boards")
    window.fill("Gold price today", "2650 USD/ozt")
    window.press("What can I pay?", MEASURE_MS)
    window.figures(lambda told: "Highest price worth paying" in told, MEASURE_MS)
    page.wait_for_timeout(1000)  # the answer scrolls into sight


@contextmanager
def _window(browser: Browser, scheme: Any) -> Iterator[Window]:
    width, height = PHONE
    context = browser.new_context(
        viewport={"width": width, "height": height}, device_scale_factor=2, color_scheme=scheme
    )
    try:
        yield Window(context)
    finally:
        context.close()


def _small(picture: bytes) -> bytes:
    """A screen in 256 colours: a third of the bytes, and nothing lost that one sees."""
    file = io.BytesIO()
    Image.open(io.BytesIO(picture)).convert("RGB").quantize(256, dither=Image.Dither.NONE).save(
        file, "PNG", optimize=True
    )
    return file.getvalue()


def main() -> None:
    """Write the pictures."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("--overlays", action="store_true")
    made = overlays()
    if not ask.parse_args().overlays:
        with sync_playwright() as playwright:
            chromium = shutil.which("chromium") or shutil.which("chromium-browser")
            browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
            made[MARK / "icon.png"] = made[PICTURES / "icon.png"] = icon(browser)
            made[PICTURES / "mark.svg"] = (MARK / "mark.svg").read_bytes()
            made |= {path: _small(picture) for path, picture in screens(browser).items()}
            browser.close()
    for path, picture in made.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(picture)
        sys.stdout.write(f"{path.relative_to(ROOT)}  {len(picture) // 1000} kB\n")


if __name__ == "__main__":
    main()
