"""The page in a real browser: start it, upload a sample, read the plated area off the screen."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from app.shelf import Kept
from grader.model import Range
from grader.samples import Sample
from grader.units import format_range

pytestmark = pytest.mark.browser

START_S, MEASURE_MS = 60, 120_000


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where a page of its own answers, started as a person starts it."""
    folder = tmp_path_factory.mktemp("page")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "grader", "page", "--port", str(port), "--log", str(folder / "log.sqlite")]
    root = str(Path(__file__).parents[2])
    # the measured check bar of whoever runs the tests must not change what is read
    surroundings = {**os.environ, "PYTHONPATH": root, "XDG_DATA_HOME": str(folder), "OMP_NUM_THREADS": "1"}
    with (folder / "server.txt").open("wb") as output:
        server = subprocess.Popen(command, env=surroundings, stdout=output, stderr=output)
        try:
            address = f"http://localhost:{port}"
            _wait_for(address, server, folder / "server.txt")
            yield address
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(20)
    with socket.socket() as gone:
        assert gone.connect_ex(("127.0.0.1", port)) != 0, "the page goes on without its command"


def _wait_for(address: str, server: subprocess.Popen[bytes], output: Path) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if server.poll() is not None:
            pytest.fail(f"The page did not start:\n{output.read_text()}")
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"The page did not answer within {START_S} s:\n{output.read_text()}")


@pytest.mark.parametrize("width", [1280, 390])
def test_an_uploaded_photo_gives_the_measured_area(
    browser: Browser, address: str, sample: Sample, measured: Kept, width: int
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 844})
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("requestfailed", lambda request: problems.append(request.url))
    page.on("request", lambda request: problems.append(request.url) if not _is_ours(request.url, address) else None)
    page.goto(address)
    page.locator("input[type=file]").first.set_input_files(sample.path)
    page.get_by_role("button", name="Measure", exact=True).click()
    figures = page.get_by_test_id("stMetric")
    figures.first.wait_for(timeout=MEASURE_MS)
    expected = {
        "Plated area": _reading(measured, "plated_area_mm2", "mm²"),
        "Gold in the visible plating": _reading(measured, "gold_mg", "mg"),
    }
    shown = {
        figure.get_by_test_id("stMetricLabel").inner_text(): figure.get_by_test_id("stMetricValue").inner_text()
        for figure in figures.all()
    }
    assert shown == expected
    page.get_by_role("img", name="The photo with the plating coloured by finish").wait_for()
    assert page.get_by_text("Visible plating only").is_visible()
    assert _sideways(page) <= 0
    for name in ("Value", "Log"):
        page.get_by_role("link", name=name, exact=True).click()
        page.get_by_role("heading", level=1).wait_for()
        assert _sideways(page) <= 0
    assert not problems
    page.close()


def _is_ours(url: str, address: str) -> bool:
    return url.startswith((address, "data:", "blob:", address.replace("http", "ws")))


def _reading(measured: Kept, key: str, unit: str) -> str:
    return format_range(Range(**measured.document[key]), unit).partition(" (")[0]


def _sideways(page: Page) -> int:
    """Pixels by which the page is wider than the window."""
    return int(
        page.evaluate(
            "Math.max(...[document.documentElement, document.querySelector('[data-testid=stMain]')]"
            ".map(e => e.scrollWidth - e.clientWidth))"
        )
    )
