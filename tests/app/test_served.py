"""The page as a person starts it: what it answers to, how patient it is, and that it ends with its terminal."""

from __future__ import annotations

import http.client
import os
import select
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

START_S, END_S = 90, 20
SOCKET = {
    "Connection": "Upgrade",
    "Upgrade": "websocket",
    "Sec-WebSocket-Version": "13",
    "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA==",
}


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _as_in_a_terminal() -> None:
    """A hang-up ends a program, unless what started the tests ignores it (nohup) and hands that down."""
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


class Served:
    """A page that was started, and the program that started it."""

    def __init__(self, folder: Path, *options: str, terminal: str | None = None) -> None:
        self.port = free_port()
        surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "XDG_DATA_HOME": str(folder)}
        surroundings |= {"PYTHONUNBUFFERED": "1", "OMP_NUM_THREADS": "1"}
        self.output = folder / f"{self.port}.txt"
        command = [sys.executable, "-m", "grader", "page", "--no-browser", "--port", str(self.port), *options]
        if terminal is not None:  # the first terminal that a new session opens becomes its own
            command = ["sh", "-c", 'exec "$@" <"$0" >"$0" 2>&1', terminal, *command]
        with self.output.open("wb") as file:
            self.process = subprocess.Popen(
                command,
                env=surroundings,
                stdin=subprocess.DEVNULL,
                stdout=file,
                stderr=file,
                start_new_session=True,
                preexec_fn=None if os.name == "nt" else _as_in_a_terminal,  # noqa: PLW1509 - it takes no lock
            )

    def answers(self) -> bool:
        with socket.socket() as trial:
            return trial.connect_ex(("127.0.0.1", self.port)) == 0

    def wait(self) -> None:
        end = time.monotonic() + START_S
        while not self.answers():
            assert self.process.poll() is None, self.output.read_text()
            assert time.monotonic() < end, "the page did not start"
            time.sleep(0.2)

    def ends(self) -> bool:
        """Whether the server goes, and soon."""
        end = time.monotonic() + END_S
        while self.answers() and time.monotonic() < end:
            time.sleep(0.1)
        return not self.answers()

    def ask(self, path: str = "/", headers: Mapping[str, str] | None = None) -> tuple[int, Mapping[str, str]]:
        asked = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            asked.request("GET", path, headers=dict(headers or {}))
            told = asked.getresponse()
            return told.status, {name.lower(): value for name, value in told.getheaders()}
        finally:
            asked.close()

    def kill(self) -> None:
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@contextmanager
def served(folder: Path, *options: str) -> Iterator[Served]:
    page = Served(folder, *options)
    try:
        page.wait()
        yield page
    finally:
        page.kill()


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(tmp_path_factory.mktemp("served")) as page:
        yield page


def test_a_name_that_was_bent_to_this_machine_gets_neither_page_nor_socket(page: Served) -> None:
    own = {"Host": f"localhost:{page.port}", "Origin": f"http://localhost:{page.port}"}
    foreign = {"Host": f"evil.example:{page.port}", "Origin": f"http://evil.example:{page.port}"}
    assert page.ask("/", own)[0] == 200
    assert page.ask("/_stcore/stream", {**own, **SOCKET})[0] == 101
    assert page.ask("/", foreign)[0] == 403
    assert page.ask("/_stcore/health", foreign)[0] == 403
    assert page.ask("/_stcore/stream", {**foreign, **SOCKET})[0] == 403
    assert page.ask("/_stcore/stream", {**own, **SOCKET, "Origin": "http://evil.example"})[0] == 403


@pytest.mark.parametrize("path", ["/", "/_stcore/health", "/_stcore/host-config", "/value", "/nothing/here.js"])
def test_every_answer_says_that_nobody_may_frame_it(page: Served, path: str) -> None:
    headers = page.ask(path)[1]
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


def test_half_requests_leave_room_for_whole_ones(page: Served) -> None:
    half = []
    try:
        for _ in range(150):
            half.append(socket.create_connection(("127.0.0.1", page.port), timeout=30))
            half[-1].sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n")
        time.sleep(1)
        refused = select.select(half, [], [], 0)[0]
        assert len(refused) >= 50, "any number stays open"
        assert not page_says_more(refused)
    finally:
        for each in half:
            each.close()
    assert page.ask()[0] == 200


def page_says_more(connections: list[socket.socket]) -> bool:
    """Whether anything but the end comes out of connections."""
    with suppress(ConnectionError):
        return any(each.recv(1) for each in connections)
    return False


@pytest.mark.skipif(os.name == "nt", reason="signals of a terminal are POSIX's")
def test_the_page_ends_however_the_program_that_started_it_ends(tmp_path: Path) -> None:
    pages = {name: Served(tmp_path) for name in ("SIGHUP", "SIGTERM", "SIGKILL")}
    leader, terminal = os.openpty()
    pages["closing the terminal"] = Served(tmp_path, terminal=os.ttyname(terminal))
    try:
        for page in pages.values():
            page.wait()
        for name, page in pages.items():
            if hasattr(signal, name):
                os.kill(page.process.pid, getattr(signal, name))  # it alone, not what it started
        os.close(terminal)
        os.close(leader)
        left = [name for name, page in pages.items() if not page.ends()]
        assert not left, "the page goes on by itself"
        for name in ("SIGHUP", "SIGTERM"):
            assert pages[name].process.wait(END_S) == 0
            assert "Traceback" not in pages[name].output.read_text()
    finally:
        for page in pages.values():
            page.kill()
