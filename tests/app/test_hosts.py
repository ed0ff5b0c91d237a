"""The page answers only to its own names, and tells browsers what they may do with its answers."""

from __future__ import annotations

import asyncio
import socket
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.server.hosts import OwnNames
from app.server.safe_headers import SafeHeaders

LOCAL = [
    "localhost",
    "LocalHost:8501",
    "127.0.0.1:8501",
    "[::1]:8501",
    "[::1]",
    "127.0.0.2:1",
    "page.localhost",
    "localhost.",
]
FOREIGN = [
    "evil.example",
    "evil.example:8501",
    "localhost.evil.example",
    "evil-localhost",
    "127.0.0.1.evil.example",
    "0.0.0.0:8501",
    "localhost@evil.example",
    "evil.example#localhost",
    "localhost/evil",
    "localhost:port",
    "[::1",
    "l\u00f6calhost",
    "",
]
ADDRESSES = ["192.0.2.7:8501", "[2001:db8::7]:8501"]


async def behind(scope: Any, receive: Any, send: Any) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": []})


def answer(host: str | None, origin: str | None = None, *, network: bool = False, kind: str = "http") -> Any:
    """The first message of the answer."""
    sent: list[Any] = []

    async def send(message: Any) -> None:
        sent.append(message)

    headers = [(b"host", host.encode("latin-1"))] if host is not None else []
    headers += [(b"origin", origin.encode())] if origin is not None else []
    scope = {"type": kind, "method": "GET", "path": "/", "headers": headers}
    asyncio.run(OwnNames(behind, network=network)(scope, None, send))  # type: ignore[arg-type]
    return sent[0]


@pytest.mark.parametrize("host", LOCAL)
def test_local_names_are_answered(host: str) -> None:
    for network in (False, True):
        assert answer(host, network=network)["status"] == 200


@pytest.mark.parametrize("host", [*FOREIGN, *ADDRESSES])
def test_other_names_are_not_whatever_the_origin_says(host: str) -> None:
    for origin in (None, f"http://{host}" if host.isascii() else "null", "http://localhost:8501"):
        assert answer(host, origin)["status"] == 403
        assert answer(host, origin, kind="websocket")["type"] == "websocket.close"


def test_without_a_name_nothing_is_answered() -> None:
    assert answer(None)["status"] == 403


def test_on_a_network_addresses_and_this_machines_name_are_answered_and_foreign_names_are_not() -> None:
    own = socket.gethostname()
    for host in (*ADDRESSES, own, f"{own.partition('.')[0].upper()}.local:8501"):
        assert answer(host, network=True)["status"] == 200
    for host in FOREIGN:
        assert host == "0.0.0.0:8501" or answer(host, network=True)["status"] == 403


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://localhost:8502", "http://localhost", ""])
def test_a_page_of_another_origin_is_not_answered(origin: str) -> None:
    assert answer("localhost:8501", origin)["status"] == 403
    assert answer("localhost:8501", "http://localhost:8501")["status"] == 200
    assert answer("localhost:8501", "https://LOCALHOST:8501")["status"] == 200


@given(st.text(st.characters(max_codepoint=255)))
def test_any_host_gets_an_answer(host: str) -> None:
    assert answer(host)["status"] in (200, 403)


@pytest.mark.parametrize("own", [[], [(b"content-security-policy", b"default-src 'none'")]])
def test_every_answer_forbids_frames_and_guessing(own: list[tuple[bytes, bytes]]) -> None:
    sent: list[Any] = []

    async def app(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": 200, "headers": list(own)})

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(SafeHeaders(app)({"type": "http"}, None, send))  # type: ignore[arg-type]
    headers = dict(sent[0]["headers"])
    assert b"frame-ancestors 'none'" in headers[b"content-security-policy"]
    assert all(value in headers[b"content-security-policy"] for _, value in own)
    assert headers[b"x-content-type-options"] == b"nosniff"
    assert headers[b"referrer-policy"] == b"same-origin"
    assert len(headers) == len(sent[0]["headers"]), "a header is there twice"
