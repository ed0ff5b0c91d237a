"""Time until the page appears: from ``grader page`` to its first screen in a browser that is already open."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from typing import Any

_PATIENCE_S = 60
_DRAWN = "[data-testid=stApp][data-test-script-state=notRunning] h1"
_FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking"]


@dataclass(frozen=True)
class FirstPage:
    """Least times over some runs, in seconds.

    Attributes:
        answers_s: from the command to the server's first answer.
        drawn_s: from the command until the first window shows the whole page.
        next_s: from the opening of a second window until it shows the whole page.
    """

    answers_s: float
    drawn_s: float
    next_s: float


def time_first_page(runs: int) -> FirstPage | None:
    """Start the page ``runs`` times, after one start that fills the machine's caches; None without a browser.

    Raises:
        TimeoutError: if the page did not answer.
    """
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return None
    if chromium is None:
        return None
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=_FLAGS)
        timed = [_once(browser) for _ in range(runs + 1)][1:]
        browser.close()
    return FirstPage(min(t.answers_s for t in timed), min(t.drawn_s for t in timed), min(t.next_s for t in timed))


def _once(browser: Any) -> FirstPage:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    address = f"http://localhost:{port}"
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "grader", "page", "--no-browser", f"--port={port}"]
        surroundings = {**os.environ, "XDG_DATA_HOME": folder}
        start = time.perf_counter()
        server = subprocess.Popen(  # noqa: S603 - our own interpreter and module
            command, env=surroundings, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        try:
            _wait_for(address)
            answers_s = time.perf_counter() - start
            _draw(browser, address)
            drawn_s = time.perf_counter() - start
            again = time.perf_counter()
            _draw(browser, address)
            return FirstPage(answers_s, drawn_s, time.perf_counter() - again)
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait()


def _draw(browser: Any, address: str) -> None:
    """Open a window as a first-time visitor, and wait until it shows the whole page."""
    context = browser.new_context()
    page = context.new_page()
    page.goto(address, wait_until="commit")
    page.wait_for_selector(_DRAWN, timeout=1000 * _PATIENCE_S)
    context.close()


def _wait_for(address: str) -> None:
    end = time.monotonic() + _PATIENCE_S
    while time.monotonic() < end:
        try:
            with urllib.request.urlopen(address, timeout=5):  # noqa: S310 - our own server
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.01)
    raise TimeoutError(f"{address} did not answer within {_PATIENCE_S} s")
