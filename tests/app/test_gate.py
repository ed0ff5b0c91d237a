"""The gate before the page: nothing passes without the code."""

from __future__ import annotations

import asyncio
import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from app.server.gate import WHO_COOKIE, Gate
from grader.page_code import new_code

CODE = "KWRDX5QE"


class Behind:
    """What stands behind the gate, and counts what comes through."""

    def __init__(self) -> None:
        self.seen: list[str] = []

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        self.seen.append(scope["type"])
        if scope["type"] == "http":
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b"the page"})


async def ask(
    gate: Gate, path: str = "/", query: str = "", cookie: str = "", kind: str = "http", client: str = "192.0.2.1"
) -> list[Any]:
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"cookie", cookie.encode("latin-1"))] if cookie else []
    scope = {"type": kind, "path": path, "query_string": query.encode(), "headers": headers, "client": (client, 1)}
    await gate(scope, None, send)  # type: ignore[arg-type]
    return sent


def status(sent: Sequence[Any]) -> int:
    return int(sent[0]["status"])


def header(sent: Sequence[Any], name: bytes) -> str:
    return next(value.decode() for key, value in sent[0]["headers"] if key == name)


def opened(gate: Gate, query: str = f"code={CODE}") -> str:
    """The cookie that the right code gives."""
    sent = asyncio.run(ask(gate, query=query))
    assert status(sent) == 303
    assert header(sent, b"location") == "/"
    given = header(sent, b"set-cookie")
    assert "HttpOnly" in given
    assert "SameSite=Lax" in given
    return given.partition(";")[0]


@pytest.mark.parametrize("path", ["/", "/_stcore/upload_file/a/b", "/media/x.png", "/_stcore/health", "/static/x.js"])
@pytest.mark.parametrize(
    "cookie", ["", "grader-page=", "grader-page=guess", "other=1", "bad cookie; ;;=", "\x01=\x02"]
)
def test_nothing_is_shown_without_the_code(path: str, cookie: str) -> None:
    behind = Behind()
    sent = asyncio.run(ask(Gate(behind, CODE), path, cookie=cookie))
    assert status(sent) == 401
    assert behind.seen == []
    assert (b'name="code"' in sent[1]["body"]) is (path == "/")


def test_a_socket_without_the_code_is_closed_before_it_is_open() -> None:
    behind = Behind()
    assert asyncio.run(ask(Gate(behind, CODE), "/_stcore/stream", kind="websocket"))[0]["type"] == "websocket.close"
    assert behind.seen == []


@pytest.mark.parametrize("typed", [CODE, CODE.lower(), "KWRD+X5QE", "kwrd-x5qe", "%20KWRDX5QE%20"])
def test_the_code_lets_in_and_leaves_the_address(typed: str) -> None:
    behind = Behind()
    gate = Gate(behind, CODE)
    cookie = opened(gate, f"code={typed}")
    for kind in ("http", "websocket"):
        asyncio.run(ask(gate, cookie=f"theme=dark; {cookie}", kind=kind))
    assert behind.seen == ["http", "websocket"]


def test_the_cookie_of_one_run_does_not_open_the_next() -> None:
    old = opened(Gate(Behind(), CODE))
    assert status(asyncio.run(ask(Gate(Behind(), CODE), cookie=old))) == 401


@pytest.mark.parametrize("typed", ["", "KWRDX5Q", "KWRDX5QEE", "wrong", "\u00c4", "%00"])
def test_a_wrong_code_does_not(typed: str) -> None:
    behind = Behind()
    sent = asyncio.run(ask(Gate(behind, CODE, wrong_s=0), query=f"code={typed}"))
    assert status(sent) == (403 if typed else 401)
    assert b"set-cookie" not in dict(sent[0]["headers"])
    assert behind.seen == []


@pytest.mark.parametrize(
    "odd",
    ['foo={"a":1,"b":"c"}', "x=\u00fc", "pref=a b c", "a,b=c", "bad cookie name=1", "=", "\x01", "grader-page=old"],
)
def test_the_pass_is_found_beside_any_cookie(odd: str) -> None:
    behind = Behind()
    gate = Gate(behind, CODE)
    cookie = opened(gate)
    for line in (f"{odd}; {cookie}", f"{cookie}; {odd}", f"{odd};{cookie};{odd}"):
        asyncio.run(ask(gate, cookie=line))
    assert behind.seen == ["http"] * 3


def test_trying_codes_is_slow_however_many_try_at_once() -> None:
    async def many(gate: Gate) -> list[int]:
        return [status(s) for s in await asyncio.gather(*(ask(gate, query=f"code=WRONG{i}") for i in range(60)))]

    started = time.monotonic()
    answers = asyncio.run(many(Gate(Behind(), CODE, wrong_s=0.02)))
    took_s = time.monotonic() - started
    judged = answers.count(403)
    assert judged + answers.count(429) == 60
    assert judged < 60, "any number waits"
    assert took_s >= judged * 0.02


def test_who_tries_keeps_nobody_else_out() -> None:
    async def attacked(gate: Gate) -> float:
        wrong = [asyncio.create_task(ask(gate, query=f"code=WRONG{i}")) for i in range(60)]
        await asyncio.sleep(0.01)
        started = time.monotonic()
        assert status(await ask(gate, query=f"code={CODE}", client="192.0.2.2")) == 303
        took_s = time.monotonic() - started
        for task in wrong:
            task.cancel()
        await asyncio.gather(*wrong, return_exceptions=True)
        return took_s

    gate = Gate(Behind(), CODE, wrong_s=30)
    assert asyncio.run(attacked(gate)) < 1
    assert not gate._lines, "addresses are remembered for ever"


def test_the_right_code_waits_its_turn_behind_a_dozen_who_try_from_the_same_address() -> None:
    async def attacked(gate: Gate) -> list[int]:
        is_over = False

        async def try_on() -> None:
            while not is_over:
                await ask(gate, query="code=WRONG")
                await asyncio.sleep(0)

        tries = [asyncio.create_task(try_on()) for _ in range(12)]
        await asyncio.sleep(0.02)
        right = [status(await ask(gate, query=f"code={CODE}")) for _ in range(8)]
        is_over = True
        await asyncio.gather(*tries)
        return right

    assert asyncio.run(attacked(Gate(Behind(), CODE, wrong_s=0.005))) == [303] * 8


def test_starting_and_stopping_pass_through() -> None:
    behind = Behind()
    asyncio.run(ask(Gate(behind, CODE), kind="lifespan"))
    assert behind.seen == ["lifespan"]


def test_a_gate_without_a_code_is_none() -> None:
    with pytest.raises(ValueError, match="code"):
        Gate(Behind(), "")


def test_the_page_on_a_network_asks_for_the_code_and_stops_at_ctrl_c(tmp_path: Path) -> None:
    """As a person starts it: with its own server, socket and uploads."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "grader", "page", "--lan", "--no-browser", "--port", str(port)]
    surroundings = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), "XDG_DATA_HOME": str(tmp_path)}
    surroundings |= {"PYTHONUNBUFFERED": "1", "OMP_NUM_THREADS": "1"}
    with subprocess.Popen(
        command, env=surroundings, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True
    ) as server:
        try:
            assert wait_for(port, "/") == 401
            assert wait_for(port, "/_stcore/health") == 401
            assert wait_for(port, "/_stcore/upload_file/some/file", "PUT") == 401
            assert wait_for(port, "/_stcore/stream", upgrade="websocket") == 403
            assert wait_for(port, "/?code=KWRDX5QE") == 403
        finally:
            os.killpg(server.pid, signal.SIGINT)  # what a terminal does at Ctrl-C
            said = server.communicate(timeout=30)[0]
    assert server.returncode == 0, said
    assert "Traceback" not in said
    assert "has stopped" in said
    with socket.socket() as gone:
        assert gone.connect_ex(("127.0.0.1", port)) != 0


def wait_for(port: int, path: str, method: str = "GET", upgrade: str = "") -> int:
    """The status of an answer, once there is one."""
    more = {"Connection": "Upgrade", "Upgrade": upgrade, "Sec-WebSocket-Version": "13"} if upgrade else {}
    end = time.monotonic() + 60
    while True:
        asked = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        try:
            asked.request(method, path, headers={**more, "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA=="})
            return asked.getresponse().status
        except ConnectionError:
            assert time.monotonic() < end, "the page did not answer"
            time.sleep(0.2)
        finally:
            asked.close()


def test_codes_differ_and_are_easy_to_read() -> None:
    codes = {new_code() for _ in range(200)}
    assert len(codes) == 200
    assert all(len(c) == 8 and not set(c) & set("01OIL") for c in codes)


def test_each_browser_gets_a_name_of_its_own_once_and_it_opens_nothing() -> None:
    gate = Gate(Behind(), CODE)

    def names(cookie: str = "") -> list[str]:
        sent = asyncio.run(ask(gate, query=f"code={CODE}", cookie=cookie))
        given = [value.decode() for name, value in sent[0]["headers"] if name == b"set-cookie"]
        return [value.partition(";")[0] for value in given if value.startswith(WHO_COOKIE)]

    (first,), (second,) = names(), names()
    assert first != second
    assert names(first) == [], "a browser that has a name keeps it"
    assert status(asyncio.run(ask(gate, cookie=first))) == 401
