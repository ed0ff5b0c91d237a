"""The picture component in a real browser, on a page of its own."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import ConsoleMessage, Locator, Page

Serving = Callable[..., AbstractContextManager[str]]
HERE = Path(__file__).parent
WIDTH_PX, HEIGHT_PX = 800, 600
# The photo is there when the middle of the canvas, where no region is, lets nothing shine through.
ALPHA_OF_MIDDLE = "c => c.getContext('2d').getImageData(c.width >> 1, c.height >> 1, 1, 1).data[3]"


@pytest.fixture(scope="module")
def bench(served: Serving, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the bench page answers."""
    settings = {
        "server.headless": "true", "server.fileWatcherType": "none", "browser.gatherUsageStats": "false",
        "server.address": "localhost", "client.toolbarMode": "minimal",
    }  # fmt: skip
    options = [f"--{name}={value}" for name, value in settings.items()]
    command = ["streamlit", "run", str(HERE / "bench_page.py"), *options]
    with served(command, tmp_path_factory.mktemp("bench"), "--server.port") as address:
        yield address


class Bench:
    """The component as a person uses it. Places are in px of the photo."""

    def __init__(self, window: Any, address: str, query: str) -> None:
        self.window = window
        self.page: Page = window.page
        self.page.on("console", self._heard)
        window.visit(address, query)
        self.canvas: Locator = window.see(self.page.locator("canvas"))
        window.until(lambda: self.canvas.evaluate(ALPHA_OF_MIDDLE), lambda alpha: alpha == 255)
        self.out()

    def _heard(self, message: ConsoleMessage) -> None:
        # reading pixels back slows a canvas down, which the browser says; only these tests do
        if message.type in ("error", "warning") and "willReadFrequently" not in message.text:
            self.window.troubles.append(message.text)

    def out(self) -> Any:
        """What was given."""
        return self.until(lambda out: True)

    def until(self, what: Callable[[Any], Any]) -> Any:
        """What was given, as soon as it fulfils a condition."""
        out = self.page.locator("#out")
        (told,) = self.window.until(
            out.all_inner_texts, lambda texts: len(texts) == 1 and bool(what(json.loads(texts[0])))
        )
        return json.loads(told)

    def small_targets(self) -> list[Any]:
        """What can be tapped but is less than 44 px wide or high."""
        self.window.rest()
        sizes: list[Any] = self.page.locator(".photo-view :is(button, select, input, canvas)").evaluate_all(
            "all => all.filter(e => e.offsetParent).map(e => [e.dataset.part || '', e.offsetWidth, e.offsetHeight])"
        )
        assert len(sizes) >= 7
        return [size for size in sizes if min(size[1:]) < 44]

    def items(self, count: int) -> list[dict[str, Any]]:
        return list(self.until(lambda out: len(out["items"]) == count)["items"])

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place of the photo in the window, while the whole photo is shown."""
        self.window.rest()
        self.canvas.scroll_into_view_if_needed()
        box = self.canvas.bounding_box()
        assert box is not None
        zoom = min(box["width"] / WIDTH_PX, box["height"] / HEIGHT_PX)
        left, top = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        return left + (x - (WIDTH_PX - 1) / 2) * zoom, top + (y - (HEIGHT_PX - 1) / 2) * zoom

    def px_per_step(self) -> float:
        """Px of the photo under one px of the window."""
        return abs(1 / (self.at(1, 0)[0] - self.at(0, 0)[0]))

    def press(self, name: str) -> None:
        self.window.press(self.page.get_by_role("button", name=name, exact=True))

    def tap(self, name: str) -> None:
        self.window.see(self.page.get_by_role("button", name=name, exact=True)).tap()

    def stroke(self, *path: tuple[float, float]) -> None:
        start, *places = (self.at(*place) for place in path)
        self.page.mouse.move(*start)
        self.page.mouse.down()
        for place in places:
            self.page.mouse.move(*place, steps=6)
        self.page.mouse.up()


@pytest.fixture
def opened(new_window: Callable[..., Any], bench: str) -> Callable[..., Bench]:
    """Opens the page in any way; its console must stay silent."""

    def open_one(query: str = "", *, touch: bool = False, dark: bool = False) -> Bench:
        window = new_window(
            width=390 if touch else 1280,
            has_touch=touch,
            color_scheme="dark" if dark else "light",
        )
        return Bench(window, bench, query)

    return open_one


@pytest.fixture
def mouse(opened: Any) -> Bench:
    return opened()


@pytest.fixture
def finger(opened: Any) -> Bench:
    return opened(touch=True, dark=True)


@pytest.fixture
def marking(opened: Any) -> Bench:
    return opened("?mark=4")
