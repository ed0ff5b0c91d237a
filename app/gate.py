"""A gate before the page for when it is open to a network: nothing passes without the code, not even an upload.

It is an ASGI middleware (https://asgi.readthedocs.io): pages, sockets, uploads and pictures all go through it.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

_COOKIE = "grader-page"
_WRONG_S = 1.0
_WAITING_MOST = 5
_SAFE = (
    (b"cache-control", b"no-store"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-content-type-options", b"nosniff"),
    (b"content-security-policy", b"default-src 'none'; style-src 'unsafe-inline'; form-action 'self'"),
)
_FORM = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Code for the page</title>
<style>
:root {{ color-scheme: light dark; }}
body {{ font: 1.1rem/1.5 system-ui, sans-serif; max-width: 24rem; margin: 15vh auto 0; padding: 0 1rem; }}
input, button {{ font: inherit; width: 100%; min-height: 48px; box-sizing: border-box; margin-top: .75rem; }}
input {{ letter-spacing: .2em; text-transform: uppercase; text-align: center; }}
</style></head>
<body><main><h1>Code for the page</h1>
<p id="about">It stands in the window in which the page was started.</p>{told}
<form action="/" method="get"><label for="code">Code</label>
<input id="code" name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" autofocus
 aria-describedby="about"><button>Open</button></form></main></body></html>
"""


class Gate:
    """Lets through who has shown the code: in the address (``/?code=…``) once, by a cookie from then on.

    Codes are compared in constant time and one after another, and a wrong one holds the others up, so that the code
    cannot be found by trying.
    """

    def __init__(self, app: App, code: str, wrong_s: float = _WRONG_S) -> None:
        """Put it before an application.

        Args:
            app: what is behind the gate.
            code: that opens it; upper case.
            wrong_s: how long a wrong code holds up the next one, s.
        """
        if not code:
            raise ValueError("a gate needs a code")
        self._app, self._code, self._wrong_s = app, code, wrong_s
        self._pass = secrets.token_urlsafe(32)
        self._one_at_a_time = asyncio.Lock()
        self._waiting = 0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, ask for the code, or refuse."""
        if scope["type"] == "lifespan" or self._has_pass(scope):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        elif scope["type"] == "http":
            await self._ask(scope, send)

    def _has_pass(self, scope: Scope) -> bool:
        cookie = SimpleCookie()
        for name, value in scope["headers"]:
            if name == b"cookie":
                try:
                    cookie.load(value.decode("latin-1"))
                except CookieError:
                    return False
        shown = cookie[_COOKIE].value if _COOKIE in cookie else ""
        return hmac.compare_digest(shown.encode(), self._pass.encode())

    async def _ask(self, scope: Scope, send: Send) -> None:
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("code", [""])[0]
        if scope["path"] != "/":
            await _answer(send, 401, "The page asks for a code first.")
        elif not given:
            await _answer(send, 401, _FORM.format(told=""))
        elif self._waiting >= _WAITING_MOST:
            await _answer(send, 429, _FORM.format(told='<p role="alert">Too many tries. Wait a little.</p>'))
        elif await self._is_right(given):
            cookie = f"{_COOKIE}={self._pass}; Path=/; HttpOnly; SameSite=Lax"
            # the code leaves the address, so that it is not kept in the browser's history of the page
            await _answer(send, 303, "", (b"location", b"/"), (b"set-cookie", cookie.encode()))
        else:
            await _answer(send, 403, _FORM.format(told='<p role="alert">That is not the code.</p>'))

    async def _is_right(self, given: str) -> bool:
        self._waiting += 1
        try:
            async with self._one_at_a_time:
                typed = "".join(given.split()).replace("-", "").upper()
                right = hmac.compare_digest(typed.encode(), self._code.encode())
                if not right:
                    await asyncio.sleep(self._wrong_s)
                return right
        finally:
            self._waiting -= 1


async def _answer(send: Send, status: int, text: str, *headers: tuple[bytes, bytes]) -> None:
    body = text.encode()
    kind = b"text/html; charset=utf-8" if text.startswith("<") else b"text/plain; charset=utf-8"
    own = ((b"content-type", kind), (b"content-length", str(len(body)).encode()))
    await send({"type": "http.response.start", "status": status, "headers": [*own, *_SAFE, *headers]})
    await send({"type": "http.response.body", "body": body})
