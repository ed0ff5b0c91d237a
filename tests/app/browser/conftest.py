"""A page of its own that is served, and windows of a real browser on it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, WebSocket, sync_playwright
from playwright.sync_api import TimeoutError as TooLate
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

from app.lots.lot_folder import LotFolder, new_key
from app.lots.shelf import Kept
from grader.places import data_folder
from grader.samples import Sample

CHROMIUM_FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
START_S = 60
WAIT_MS = 30_000  # for anything that is not measuring
CHOOSER_MS = 10_000  # a list of files that is not open by then was asked for at a button drawn anew meanwhile
UNHEARD_S = 5  # a request to draw that the server has not taken up by then was for a part that is gone
# How the page looks while it rests, and null while it does not: asked at a moment when the browser has nothing to do.
AT_REST = """() => new Promise(answer => requestAnimationFrame(() => requestIdleCallback(() => {
  const app = document.querySelector('[data-testid=stApp]');
  const is_drawn = app?.dataset.testScriptState === 'notRunning' && app.dataset.testConnectionState === 'CONNECTED'
    && !document.querySelector('[data-stale=true], [data-testid=stSkeleton]');
  const moves = document.getAnimations().some(
    a => a.playState === 'running' && a.effect.getComputedTiming().endTime !== Infinity);
  answer(!is_drawn || moves ? null
    : [document.querySelectorAll('*').length, document.querySelector('[data-testid=stMain]').scrollHeight]);
}, {timeout: 1000})))"""
# Of each element found, whether it can be seen.
SEEN = """all => all.map(e => {
  const { width, height } = e.getBoundingClientRect();
  return width > 0 && height > 0 && e.checkVisibility({visibilityProperty: true}); })"""
METRICS = """all => all.filter(e => e.checkVisibility({visibilityProperty: true})).map(
  e => ['stMetricLabel', 'stMetricValue'].map(part => e.querySelector(`[data-testid=${part}]`).innerText))"""
SIDEWAYS_PX = """() => Math.max(...[document.documentElement, document.querySelector('[data-testid=stMain]')]
  .map(e => e.scrollWidth - e.clientWidth))"""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
T = TypeVar("T")


class Talk:
    """What a page and its server say to each other: whether something that was asked for is still to be drawn.

    The page itself says that something runs only once the server has told it so; this knows from the click on.
    """

    def __init__(self) -> None:
        self._asked_at: float | None = None
        self._is_begun = False

    def listen(self, socket: WebSocket) -> None:
        """Follow a connection; the one before it is over."""
        self._asked_at = None
        socket.on("framesent", self._sent)
        socket.on("framereceived", self._received)

    def is_owed(self) -> bool:
        """Whether the server has not yet drawn to its end what the page asked for last."""
        if self._asked_at is None:
            return False
        return self._is_begun or time.monotonic() < self._asked_at + UNHEARD_S

    def _sent(self, frame: bytes | str) -> None:
        if isinstance(frame, bytes) and BackMsg.FromString(frame).WhichOneof("type") == "rerun_script":
            self._asked_at, self._is_begun = time.monotonic(), False

    def _received(self, frame: bytes | str) -> None:
        if self._asked_at is None or not isinstance(frame, bytes):
            return
        told = ForwardMsg.FromString(frame)
        match told.WhichOneof("type"):
            case "new_session":
                self._is_begun = True
            case "script_finished" if told.script_finished != ForwardMsg.FINISHED_EARLY_FOR_RERUN:
                self._asked_at = None if self._is_begun else self._asked_at


class Window:
    """A window of its own as a person uses it: nothing is pressed, filled in or read before the page rests.

    While Streamlit draws anew, an element may be there twice, or not at all, or still say what it said before, and a
    click may be lost. So what is read is read again until it is so, always from a page at rest.
    """

    def __init__(self, context: BrowserContext) -> None:
        self.context = context
        self.page = context.new_page()
        self.troubles: list[str] = []
        self._address = ""
        self._talk = Talk()
        self.page.on("websocket", self._talk.listen)
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        # what is still on its way when the page is left or loaded again is dropped by the browser itself
        self.page.on(
            "requestfailed",
            lambda asked: self.troubles.append(asked.url) if asked.failure != "net::ERR_ABORTED" else None,
        )
        self.page.on("request", lambda asked: None if self._is_ours(asked.url) else self.troubles.append(asked.url))
        self.page.on(
            "response",
            lambda answer: self.troubles.append(f"{answer.status} {answer.url}") if _is_bad(answer) else None,
        )

    def visit(self, address: str, path: str = "") -> None:
        """Open the page; from now on it may ask no other machine for anything."""
        self._address = address
        self.page.goto(f"{address}/{path}")
        self.rest()

    def rest(self, within_ms: float = WAIT_MS) -> None:
        """Wait until all that was asked for is drawn, and nothing moves."""
        end = time.monotonic() + within_ms / 1000
        before = None
        while True:
            now = None if self._talk.is_owed() else self.page.evaluate(AT_REST)
            if now is not None and now == before and not self._talk.is_owed():
                return
            assert time.monotonic() < end, "the page does not come to rest"
            before = now
            self.page.wait_for_timeout(20)

    def until(self, read: Callable[[], T], is_so: Callable[[T], bool], within_ms: float = WAIT_MS) -> T:
        """What is read off the page at rest, as soon as it is so."""
        end = time.monotonic() + within_ms / 1000
        while True:
            self.rest(max(1000 * (end - time.monotonic()), 1000))
            found = read()
            if is_so(found):
                return found
            assert time.monotonic() < end, f"not so: {found!r}"
            self.page.wait_for_timeout(50)

    def see(self, what: Locator | str, within_ms: float = WAIT_MS) -> Locator:
        """The one element of its kind, or with this text, once it can be seen; there must not be a second one."""
        found = self.page.get_by_text(what) if isinstance(what, str) else what
        assert self.until(lambda: found.evaluate_all(SEEN), lambda seen: seen == [True], within_ms), found
        return found

    def gone(self, what: Locator, within_ms: float = WAIT_MS) -> None:
        """Wait until there is no such element."""
        self.until(what.count, lambda count: count == 0, within_ms)

    def press(self, what: Locator | str, within_ms: float = WAIT_MS) -> None:
        """Click on a button, by its name, or on anything else."""
        found = self.page.get_by_role("button", name=what) if isinstance(what, str) else what
        self.see(found, within_ms).click()

    def fill(self, label: str | re.Pattern[str], text: str) -> None:
        """Fill in a field and leave it."""
        field = self.see(self.page.get_by_label(label))
        field.fill(text)
        field.press("Tab")
        self.until(lambda: field.evaluate_all("all => all.map(e => e.value)"), lambda told: told == [text])

    def choose(self, ask: Callable[[], None], photos: Sequence[Path]) -> None:
        """Pick files from the list that opens when asked for; asked again where it does not, as a person would."""
        for is_last in (False, False, True):
            self.rest()
            try:
                with self.page.expect_file_chooser(timeout=CHOOSER_MS) as chooser:
                    ask()
            except TooLate:
                if is_last:
                    raise
            else:
                chooser.value.set_files([str(photo) for photo in photos])
                return

    def figures(self, is_so: Callable[[dict[str, str]], bool] = bool, within_ms: float = WAIT_MS) -> dict[str, str]:
        """The large figures by their labels, as soon as they are so."""
        metrics = self.page.get_by_test_id("stMetric")
        told = self.until(
            lambda: metrics.evaluate_all(METRICS), lambda told: len(told) > 0 and is_so(dict(told)), within_ms
        )
        assert len(dict(told)) == len(told), told
        return dict(told)

    def violations(self) -> list[str]:
        """What axe-core finds against the Web Content Accessibility Guidelines 2.2, levels A and AA."""
        self.rest()
        if not self.page.evaluate("'axe' in window"):
            self.page.evaluate(files("axe_playwright_python").joinpath("axe.min.js").read_text("utf-8"))
        how = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}
        found = self.page.evaluate("how => axe.run(document, how)", how)
        assert len(found["passes"]) > 10, "axe-core looked at nothing"
        return [f"{v['id']}: {node['html'][:200]}" for v in found["violations"] for node in v["nodes"]]

    def sideways_px(self) -> float:
        """By how much the page is wider than the window."""
        self.rest()
        return float(self.page.evaluate(SIDEWAYS_PX))

    def _is_ours(self, url: str) -> bool:
        return url.startswith((self._address, "data:", "blob:", self._address.replace("http", "ws")))


def _is_bad(answer: Any) -> bool:
    # Streamlit first looks for its own parts below the page's address, then at the root
    looked_for = answer.url.endswith(("/_stcore/health", "/_stcore/host-config"))
    # and its download button fetches its file once as it is drawn, perhaps after the page was drawn anew with another
    tried = answer.request.resource_type == "fetch" and "/media/" in answer.url
    return answer.status >= 400 and not (looked_for or tried)


@pytest.fixture(scope="module")
def context_of(browser: Browser) -> Callable[..., BrowserContext]:
    """What windows of one kind have in common; the second one need not load Streamlit's scripts again."""

    @cache
    def context(**how: Any) -> BrowserContext:
        size = {"width": how.pop("width", 1280), "height": how.pop("height", 844)}
        return browser.new_context(viewport=size, **how)

    return context


@pytest.fixture
def new_window(context_of: Callable[..., BrowserContext]) -> Iterator[Callable[..., Window]]:
    """Opens windows of any kind; closed again, and held to have had no trouble, at the end."""
    made: list[Window] = []

    def open_one(**how: Any) -> Window:
        made.append(Window(context_of(**how)))
        return made[-1]

    yield open_one
    troubles = [trouble for each in made for trouble in each.troubles]
    for each in made:
        each.page.close()
    assert not troubles


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, without a window."""
    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        missing = "Chromium is not installed; on Debian: apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def bent(browser: Browser) -> Iterator[Browser]:
    """A browser for which the foreign name evil.example is this machine's, as after DNS rebinding."""
    opened = browser.browser_type.launch(
        executable_path=shutil.which("chromium") or shutil.which("chromium-browser"),
        args=[*CHROMIUM_FLAGS, "--host-resolver-rules=MAP evil.example 127.0.0.1"],
    )
    yield opened
    opened.close()


@pytest.fixture(scope="session")
def served() -> Callable[..., AbstractContextManager[str]]:
    """Runs a command with ``--port`` and gives the address at which it answers, until it is stopped again."""
    return _served


@contextmanager
def _served(command: Sequence[str], folder: Path, port_option: str = "--port") -> Iterator[str]:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    # the measured check bar of whoever runs the tests must not change what is read
    root = str(Path(__file__).parents[3])
    surroundings = {**os.environ, "PYTHONPATH": root, "XDG_DATA_HOME": str(folder), "OMP_NUM_THREADS": "1"}
    output = folder / "server.txt"
    with output.open("wb") as file:
        server = subprocess.Popen(
            [sys.executable, "-m", *command, port_option, str(port)], env=surroundings, stdout=file, stderr=file
        )
        try:
            _wait_for(f"http://localhost:{port}", server, output)
            yield f"http://localhost:{port}"
        finally:
            server.send_signal(signal.SIGTERM)
            server.wait(20)
    with socket.socket() as gone:
        assert gone.connect_ex(("127.0.0.1", port)) != 0, "the page goes on without its command"


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the page of a module's tests keeps everything."""
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def address(home: Path) -> Iterator[str]:
    """Where a page of its own answers, started as a person starts it."""
    with _served(["grader", "page", "--no-browser", "--log", str(home / "log.sqlite")], home) as address:
        yield address


@pytest.fixture
def measured_lot(home: Path, sample: Sample, measured: Kept, monkeypatch: pytest.MonkeyPatch) -> str:
    """The key of a lot on that page in which the demo photo was measured before."""
    monkeypatch.setenv("XDG_DATA_HOME", str(home))
    key = new_key()
    lot = LotFolder(data_folder() / "in-progress" / key)
    lot.hand_in(measured.name, sample.path.read_bytes())
    lot.put(measured)
    return key


def _wait_for(address: str, server: subprocess.Popen[bytes], output: Path) -> None:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if server.poll() is not None:
            pytest.fail(f"The page did not start:\n{output.read_text()}")
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except urllib.error.HTTPError:
            return  # it asks for its code
        except (urllib.error.URLError, OSError):
            time.sleep(0.3)
    pytest.fail(f"The page did not answer within {START_S} s:\n{output.read_text()}")
