"""What the page says when its program does not answer."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
import streamlit
from starlette.responses import Response
from starlette.types import Receive, Scope, Send

from app.server.own_words import OwnWords, replaced_words

SCRIPTS = sorted((Path(streamlit.__file__).parent / "static" / "static" / "js").glob("index.*.js"))
SCRIPT = max(SCRIPTS, key=lambda path: "not responding" in path.read_text("utf-8"))


@pytest.mark.parametrize("words", [toolkit for toolkit, _ in replaced_words()])
def test_the_toolkit_s_script_says_what_is_replaced(words):
    assert sum(script.read_text("utf-8").count(words) for script in SCRIPTS) == 1


def asked(path: str) -> tuple[dict[bytes, bytes], bytes, dict[bytes, bytes]]:
    """Headers and body that come back through the middleware, and the headers that the toolkit got."""
    got: list[dict[bytes, bytes]] = []
    sent: list[Any] = []

    async def toolkit(scope: Scope, receive: Receive, send: Send) -> None:
        got.append(dict(scope["headers"]))
        await Response(SCRIPT.read_bytes(), media_type="text/javascript")(scope, receive, send)

    async def send(message: Any) -> None:
        sent.append(message)

    async def receive() -> Any:
        return {"type": "http.request", "body": b"", "more_body": False}

    scope = {"type": "http", "method": "GET", "path": path, "headers": [(b"accept-encoding", b"gzip")]}
    asyncio.run(OwnWords(toolkit)(scope, receive, send))
    return dict(sent[0]["headers"]), b"".join(m.get("body", b"") for m in sent[1:]), got[0]


def test_a_script_comes_in_own_words_and_with_its_length():
    headers, body, got = asked(f"/static/js/{SCRIPT.name}")
    assert int(headers[b"content-length"]) == len(body)
    text = body.decode()
    assert all(page in text and words not in text for words, page in replaced_words())
    assert b"accept-encoding" not in got
    # they stand in template strings of the script, which nothing in them may end early: as many begin as end
    assert all(page.count("`") in (0, 2) and not set("\\$") & set(page) for _, page in replaced_words())


def test_other_files_pass_as_they_are():
    _, body, got = asked("/static/js/other.js")
    assert body == SCRIPT.read_bytes()
    assert b"accept-encoding" in got
