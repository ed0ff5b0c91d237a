"""The server waits for a request, but not for ever, and keeps some connections, but not any number."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator
from threading import Thread
from typing import Any

import pytest
import uvicorn

from app.server.patience import Connections, PatientHttp

REQUEST_S = 0.5
HEAD = b"GET / HTTP/1.1\r\nHost: localhost\r\n"


class Hasty(PatientHttp):
    connections_taken = Connections()
    request_s = REQUEST_S


async def slow_page(scope: Any, receive: Any, send: Any) -> None:
    """Answers after all of the request is there."""
    assert scope["type"] == "http"
    while (await receive()).get("more_body"):
        pass
    await send({"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]})
    await send({"type": "http.response.body", "body": b"ok"})


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        config = uvicorn.Config(slow_page, http=Hasty, lifespan="off", log_config=None)
        server = uvicorn.Server(config)
        running = Thread(target=server.run, args=([listener],), daemon=True)
        running.start()
        while not server.started:
            time.sleep(0.01)
        yield int(listener.getsockname()[1])
        server.should_exit = True
        running.join(10)


def closed_after_s(connection: socket.socket) -> float:
    """How long until the server hangs up, s."""
    started = time.monotonic()
    connection.settimeout(10)
    while connection.recv(1000):
        pass
    return time.monotonic() - started


@pytest.mark.parametrize("sent", [b"", b"G", HEAD])
def test_half_a_request_is_waited_for_only_so_long(port: int, sent: bytes) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(sent)
        assert closed_after_s(connection) < 5


def drip_for_s(connection: socket.socket) -> float:
    """How long the server takes a letter now and then, s; at most ten."""
    started = time.monotonic()
    while time.monotonic() < started + 10:
        try:
            connection.sendall(b"G")
        except ConnectionError:
            break
        time.sleep(REQUEST_S / 5)
    return time.monotonic() - started


def test_a_letter_now_and_then_wins_no_time(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        assert drip_for_s(connection) < 5


def test_after_an_answer_half_a_request_is_no_better(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(HEAD + b"\r\n")
        connection.settimeout(10)
        assert connection.recv(1000).startswith(b"HTTP/1.1 200")
        connection.sendall(HEAD)
        assert closed_after_s(connection) < 3, "only the time between two requests is bounded"


def test_a_request_whose_head_is_there_may_take_its_time(port: int) -> None:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.sendall(b"PUT / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 2\r\n\r\na")
        time.sleep(3 * REQUEST_S)
        connection.sendall(b"b")
        connection.settimeout(10)
        assert connection.recv(1000).startswith(b"HTTP/1.1 200")


class Transport:
    def __init__(self, address: str) -> None:
        self.address, self.is_closed = address, False

    def get_extra_info(self, name: str) -> tuple[str, int]:
        assert name == "peername"
        return self.address, 1

    def is_closing(self) -> bool:
        return self.is_closed


def test_one_address_cannot_take_all_and_what_is_closed_is_free_again() -> None:
    connections: Any = Connections(from_one=3, in_all=5)
    first = [Transport("192.0.2.1") for _ in range(4)]
    assert [connections.take(each) for each in first] == [True, True, True, False]
    assert [connections.take(Transport("192.0.2.2")) for _ in range(3)] == [True, True, False]
    first[0].is_closed = True
    assert connections.take(Transport("192.0.2.3"))
    assert not connections.take(Transport("192.0.2.4"))
