"""The picture component in a real browser, on a page of its own."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Locator, Page

HERE = Path(__file__).parent
ROOT = HERE.parents[2]
WIDTH_PX, HEIGHT_PX = 800, 600
START_S = 60
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the bench page answers."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = {
        "server.port": str(port), "server.headless": "true", "server.fileWatcherType": "none",
        "browser.gatherUsageStats": "false", "server.address": "localhost", "client.toolbarMode": "minimal",
    }  # fmt: skip
    command = [sys.executable, "-m", "streamlit", "run", str(HERE / "bench_page.py")]
    options = [f"--{name}={value}" for name, value in settings.items()]
    log = tmp_path_factory.mktemp("bench") / "server.txt"
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    with log.open("wb") as output:
        server = subprocess.Popen([*command, *options], env=surroundings, stdout=output, stderr=output)
        try:
            _wait_for(f"http://localhost:{port}", server, log)
            yield f"http://localhost:{port}"
        finally:
            server.terminate()
            server.wait(20)


def _wait_for(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"The page did not start:\n{log.read_text()}")


class Bench:
    """The component as a person uses it. Places are in px of the photo."""

    def __init__(self, browser: Browser, address: str, *, touch: bool = False, dark: bool = False) -> None:
        self.context = browser.new_context(
            viewport={"width": 390 if touch else 1280, "height": 844},
            has_touch=touch,
            color_scheme="dark" if dark else "light",
        )
        self.page: Page = self.context.new_page()
        self.troubles: list[str] = []
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.page.on("console", self._heard)
        self.page.goto(address)
        self.canvas: Locator = self.page.locator("canvas")
        self.canvas.wait_for(timeout=60_000)
        self.page.locator("#out").wait_for()
        self.page.wait_for_function("document.querySelector('#out').innerText.length > 1")
        self.settle()

    def _heard(self, message: ConsoleMessage) -> None:
        # reading pixels back slows a canvas down, which the browser says; only these tests do
        if message.type in ("error", "warning") and "willReadFrequently" not in message.text:
            self.troubles.append(message.text)

    def settle(self) -> None:
        """Wait until the canvas has been drawn as it now is."""
        self.page.evaluate("() => new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")

    def out(self) -> Any:
        return json.loads(self.page.locator("#out").inner_text())

    def until(self, what: Any) -> Any:
        """What was given, as soon as it fulfils a condition."""
        end = time.monotonic() + 20
        while not what(self.out()):
            assert time.monotonic() < end, f"not so: {self.out()}"
            self.page.wait_for_timeout(50)
        return self.out()

    def violations(self) -> list[str]:
        """What axe-core finds against the Web Content Accessibility Guidelines 2.2, levels A and AA."""
        self.page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
        found = self.page.evaluate("rules => axe.run(document, {runOnly: {type: 'tag', values: rules}})", RULES)
        assert len(found["passes"]) > 10, "axe-core looked at nothing"
        return [f"{v['id']}: {node['html'][:200]}" for v in found["violations"] for node in v["nodes"]]

    def small_targets(self) -> list[Any]:
        """What can be tapped but is less than 44 px wide or high."""
        sizes: list[Any] = self.page.locator(".photo-view :is(button, select, input, canvas)").evaluate_all(
            "all => all.filter(e => e.offsetParent).map(e => [e.dataset.part || '', e.offsetWidth, e.offsetHeight])"
        )
        assert len(sizes) >= 7
        return [size for size in sizes if min(size[1:]) < 44]

    def sideways(self) -> int:
        """Pixels by which the page is wider than the window."""
        wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        return int(self.page.evaluate(wider))

    def items(self, count: int) -> list[dict[str, Any]]:
        return list(self.until(lambda out: len(out["items"]) == count)["items"])

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place of the photo in the window, while the whole photo is shown."""
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
        self.page.get_by_role("button", name=name, exact=True).click()

    def stroke(self, *path: tuple[float, float]) -> None:
        self.page.mouse.move(*self.at(*path[0]))
        self.page.mouse.down()
        for place in path[1:]:
            self.page.mouse.move(*self.at(*place), steps=6)
        self.page.mouse.up()


@pytest.fixture
def opened(browser: Browser, bench: str) -> Iterator[Any]:
    """Opens the page in any way; closed again, and held to have had no trouble, at the end."""
    made: list[Bench] = []

    def open_one(query: str = "", **how: bool) -> Bench:
        made.append(Bench(browser, f"{bench}/{query}", **how))
        return made[-1]

    yield open_one
    for each in made:
        each.context.close()
        assert not each.troubles


@pytest.fixture
def mouse(opened: Any) -> Bench:
    return opened()


@pytest.fixture
def finger(opened: Any) -> Bench:
    return opened(touch=True, dark=True)


@pytest.fixture
def marking(opened: Any) -> Bench:
    return opened("?mark=4")
