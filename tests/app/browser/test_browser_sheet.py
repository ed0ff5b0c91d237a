"""Several pictures of one lot in a real browser: added at once, matched, corrected by tap and keyboard, and kept."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

from grader.samples import Sample

pytestmark = pytest.mark.browser

WAIT_MS = 240_000
BOARDS = 4
PX_WIDE = 1200  # of the sample, made smaller: quickly measured


@pytest.fixture(scope="module")
def pictures(tmp_path_factory: pytest.TempPathFactory, sample: Sample) -> list[Path]:
    """The sample and a copy of it that is turned, both made smaller."""
    folder = tmp_path_factory.mktemp("listing")
    whole = cv2.imread(str(sample.path))
    small = cv2.resize(whole, None, fx=(k := PX_WIDE / whole.shape[1]), fy=k, interpolation=cv2.INTER_AREA)
    paths = [folder / "front.jpg", folder / "turned.jpg"]
    for path, picture in zip(paths, (small, np.rot90(small).copy()), strict=True):
        cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return paths


def told(boards: int) -> re.Pattern[str]:
    """The line on the price's page, whatever the range."""
    return re.compile(rf"^{boards} boards( \(\d+ to \d+\))? in 2 pictures, each counted once")


def test_pictures_added_at_once_become_a_sheet_that_taps_and_keys_correct(
    new_window: Callable[..., Any], address: str, pictures: list[Path]
) -> None:
    window = new_window(width=390, has_touch=True)
    page = window.page
    window.visit(address, "value")
    add = page.get_by_test_id("stFileUploaderDropzone").locator("button").first
    window.choose(lambda: window.press(add), pictures)
    window.see(page.get_by_text(told(BOARDS)), WAIT_MS)
    window.press(page.get_by_role("link", name="See which pictures show which board"))
    window.see(page.get_by_role("heading", name="Which boards are these?"))

    def looks(board: int) -> list[str]:
        row = page.locator(f".st-key-board-Board-{board}")
        return sorted(row.get_by_role("img").evaluate_all("all => all.map(e => e.alt)"))

    def rows() -> int:
        return int(page.locator("[class*=st-key-board-Board-]").count())

    assert window.until(rows, lambda count: count == BOARDS) == BOARDS
    both = [f"Board 1 in {path.name}" for path in pictures]
    assert window.until(lambda: looks(1), lambda found: found == both) == both
    assert window.sideways_px() <= 0
    assert window.violations() == []
    # a tap on one picture, and a button: it is another board
    first = page.locator(".st-key-board-Board-1").get_by_text(re.compile("turned"))
    window.see(first).tap()
    window.see("1 picture chosen.")
    window.see(page.get_by_role("button", name="Another board")).tap()
    assert window.until(rows, lambda count: count == BOARDS + 1, WAIT_MS) == BOARDS + 1
    # it is there after a reload, and taken back by keyboard
    page.reload()
    assert window.until(rows, lambda count: count == BOARDS + 1) == BOARDS + 1
    window.see(page.get_by_role("button", name="Undo")).focus()
    page.keyboard.press("Enter")
    assert window.until(rows, lambda count: count == BOARDS, WAIT_MS) == BOARDS
    assert window.until(lambda: looks(1), lambda found: found == both) == both
    # what is no board goes; the price's page has one board less
    for look in page.locator(".st-key-board-Board-2").get_by_role("checkbox").all():
        look.focus()
        page.keyboard.press("Space")
        window.rest()
    window.see("2 pictures chosen.")
    window.see(page.get_by_role("button", name="Not a board")).focus()
    page.keyboard.press("Enter")
    window.see(page.get_by_role("heading", name="No boards"), WAIT_MS)
    assert window.until(rows, lambda count: count == BOARDS - 1) == BOARDS - 1
    window.press(page.get_by_role("link", name="Back to the price"))
    window.see(page.get_by_text(told(BOARDS - 1)), WAIT_MS)
