"""The page, attacked, in a real browser; and two windows of it on one lot."""

from __future__ import annotations

import http.server
import re
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from playwright.sync_api import Browser

pytestmark = pytest.mark.browser

ODD_COOKIES = ['foo={"a":1,"b":"c"}', "pref=a b c", "a,b=c", "bad cookie name=1", "x=\u00fc"]
CONNECTS = """url => new Promise(answer => {
  const socket = new WebSocket(url, ['streamlit']);
  socket.onopen = () => answer(true);
  socket.onerror = () => answer(false);
})"""


def test_a_foreign_name_that_was_bent_to_this_machine_gets_nothing(bent: Browser, address: str) -> None:
    window = bent.new_page()
    own = window.goto(address)
    assert own is not None
    assert own.status == 200
    assert window.evaluate(CONNECTS, f"{address}/_stcore/stream".replace("http", "ws"))
    foreign = address.replace("localhost", "evil.example")
    answer = window.goto(foreign)
    assert answer is not None
    assert answer.status == 403
    assert not window.evaluate(CONNECTS, f"{foreign}/_stcore/stream".replace("http", "ws"))


class _Framing(http.server.BaseHTTPRequestHandler):
    """A page of somebody else that shows this one in a frame."""

    framed = ""

    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(f"<iframe src='{self.framed}' width=900 height=600></iframe>".encode())

    def log_message(self, *_: object) -> None:
        """Say nothing."""


def test_no_other_page_can_frame_it(browser: Browser, address: str) -> None:
    handler = type("Framing", (_Framing,), {"framed": address})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        window = browser.new_page()
        said: list[str] = []
        window.on("console", lambda message: said.append(message.text))
        window.goto(f"http://127.0.0.1:{server.server_port}")
        window.wait_for_timeout(1000)
        assert any("frame-ancestors" in text for text in said), said
        assert not any(frame.query_selector("[data-testid=stApp]") for frame in window.frames)
        window.close()
        server.shutdown()


def test_the_code_opens_the_page_beside_any_cookie(
    new_window: Callable[..., Any], served: Callable[..., AbstractContextManager[str]], tmp_path: Path
) -> None:
    command = ["grader", "page", "--lan", "--no-browser", "--log", str(tmp_path / "log.sqlite")]
    with served(command, tmp_path) as address:
        code = re.search(r"code: (\w{4}) (\w{4})", (tmp_path / "server.txt").read_text())
        assert code is not None
        window = new_window()
        window.page.goto(address)
        window.troubles.clear()  # it was asked for the code
        for odd in ODD_COOKIES:
            window.page.evaluate("cookie => { document.cookie = cookie; }", odd)
        window.page.get_by_label("Code", exact=True).fill(" ".join(code.groups()).lower())
        window.page.get_by_role("button", name="Open").click()
        window.visit(address)
        window.see(window.page.get_by_role("heading", level=1, name="What do you want to do?"))
        assert window.page.evaluate("document.cookie").count("=") >= 4


def test_two_windows_that_change_one_field_both_say_so(
    new_window: Callable[..., Any], address: str, measured_lot: str
) -> None:
    one, two = new_window(), new_window(width=390)
    for window in (one, two):
        window.visit(address, f"?lot={measured_lot}")
    one.fill("Its name", "Shelf 3")
    two.fill("Its name", "Drawer 9")
    one.page.reload()
    told = re.compile("Two windows changed the same field: name of the lot")
    for window in (one, two):
        window.see(window.page.get_by_text(told))
        assert window.sideways_px() == 0
        assert not window.violations()
    one.press("Use Shelf 3")
    one.gone(one.page.get_by_text(told))
    assert one.page.get_by_label("Its name").input_value() == "Shelf 3"
    two.page.reload()
    two.until(lambda: two.page.get_by_label("Its name").input_value(), lambda name: name == "Shelf 3")
    two.gone(two.page.get_by_text(told))


def test_a_damaged_lot_is_told_and_gone_on_with(
    new_window: Callable[..., Any], address: str, measured_lot: str, home: Path
) -> None:
    (place,) = home.rglob(f"{measured_lot}/lot.json")
    place.write_bytes(b"{" * 50_000)
    window = new_window(width=390)
    window.visit(address, f"measure?lot={measured_lot}")
    window.see(window.page.get_by_role("heading", level=1, name="This lot cannot be read"))
    window.see(window.page.get_by_text("lot.json is damaged"))
    assert window.sideways_px() == 0
    assert not window.violations()
    window.press("Keep the file aside, go on with the photos")
    window.figures(lambda figures: "Plated area" in figures, 120_000)
    assert place.with_name("lot.damaged-1.json").read_bytes() == b"{" * 50_000
