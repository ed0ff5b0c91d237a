"""A gate before a page that is open to a network: nothing passes without the code, not even an upload.

It is an ASGI middleware (https://asgi.readthedocs.io): pages, sockets, uploads and pictures all go through it.
"""

from __future__ import annotations

import asyncio
import hmac
import secrets
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

_COOKIE = "grader-page"
WHO_COOKIE = "grader-who"
"""Tells browsers apart that the code let in: each has figures of its own (``app.lots.desk``). It opens nothing."""
_KNOWN_S = 365 * 24 * 3600
_WRONG_S = 0.5  # delay after a wrong code; grader/page_code.py computes what that leaves to a guesser
_WAITING_MOST = 32  # from one address; the last of them waits 16 s
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


class _Line:
    """The codes from one address, which are judged one after another."""

    def __init__(self) -> None:
        self.one_at_a_time = asyncio.Lock()  # first come, first served
        self.waiting = 0


class Gate:
    """Lets through everyone who has shown the code: once in the address (``/?code=…``), then by a cookie.

    Codes are compared in constant time. Each address has its own queue, in which a wrong code delays the next
    one: the code cannot be found by trying, and a guesser keeps nobody else out. A queue lasts as long as somebody
    waits in it.
    """

    def __init__(self, app: ASGIApp, code: str, wrong_s: float = _WRONG_S) -> None:
        """Put the gate before an application.

        Args:
            app: the application behind the gate.
            code: that opens the gate; upper case.
            wrong_s: delay that a wrong code causes for the next one from its address, s.
        """
        if not code:
            raise ValueError("a gate needs a code")
        self._app, self._code, self._wrong_s = app, code, wrong_s
        self._pass = secrets.token_urlsafe(32)
        self._lines: dict[str, _Line] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, ask for the code, or refuse."""
        if scope["type"] == "lifespan" or self._has_pass(scope):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        elif scope["type"] == "http":
            await self._ask(scope, send)

    def _has_pass(self, scope: Scope) -> bool:
        shown = _cookies(scope, _COOKIE)
        return any(hmac.compare_digest(each.encode(), self._pass.encode()) for each in shown)

    async def _ask(self, scope: Scope, send: Send) -> None:
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("code", [""])[0]
        if scope["path"] != "/":
            await _answer(send, 401, "The page asks for a code first.")
        elif not given:
            await _answer(send, 401, _FORM.format(told=""))
        else:
            await self._judge(given, scope, send)

    async def _judge(self, given: str, scope: Scope, send: Send) -> None:
        address = _address(scope)
        line = self._lines.setdefault(address, _Line())
        if line.waiting >= _WAITING_MOST:
            await _answer(send, 429, _FORM.format(told='<p role="alert">Too many tries. Wait a little.</p>'))
        elif await self._is_right(given, line, address):
            cookies = [f"{_COOKIE}={self._pass}; Path=/; HttpOnly; SameSite=Lax"]
            if not _cookies(scope, WHO_COOKIE):
                who = secrets.token_urlsafe(16)
                cookies.append(f"{WHO_COOKIE}={who}; Path=/; Max-Age={_KNOWN_S}; HttpOnly; SameSite=Lax")
            # the code is removed from the address, so that the browser's history of the page does not keep it
            headers = [(b"set-cookie", cookie.encode()) for cookie in cookies]
            await _answer(send, 303, "", (b"location", b"/"), *headers)
        else:
            await _answer(send, 403, _FORM.format(told='<p role="alert">That is not the code.</p>'))

    async def _is_right(self, given: str, line: _Line, address: str) -> bool:
        line.waiting += 1
        try:
            async with line.one_at_a_time:
                typed = "".join(given.split()).replace("-", "").upper()
                right = hmac.compare_digest(typed.encode(), self._code.encode())
                if not right:
                    await asyncio.sleep(self._wrong_s)
                return right
        finally:
            line.waiting -= 1
            if not line.waiting:
                del self._lines[address]


def _cookies(scope: Scope, wanted: str) -> list[str]:
    """The cookies of a browser with one name.

    The search allows for any cookies that other programs at this address have set: a strict cookie parser gives up
    at the first cookie that breaks the rules.
    """
    return [
        value.strip()
        for line in Headers(scope=scope).getlist("cookie")
        for name, _, value in (pair.partition("=") for pair in line.split(";"))
        if name.strip() == wanted
    ]


def _address(scope: Scope) -> str:
    client = scope.get("client")
    return str(client[0]) if client else ""


async def _answer(send: Send, status: int, text: str, *headers: tuple[bytes, bytes]) -> None:
    body = text.encode()
    kind = b"text/html; charset=utf-8" if text.startswith("<") else b"text/plain; charset=utf-8"
    own = ((b"content-type", kind), (b"content-length", str(len(body)).encode()))
    await send({"type": "http.response.start", "status": status, "headers": [*own, *_SAFE, *headers]})
    await send({"type": "http.response.body", "body": body})
