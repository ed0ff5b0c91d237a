"""The page's own words, in place of the toolkit's, for a program that does not answer."""

from __future__ import annotations

import re
from functools import cache

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from calibration.packaged import packaged_toml

_SCRIPT = re.compile(r".*/static/js/index\.[\w-]+\.js")


class OwnWords:
    """Puts the page's words into the toolkit's only script that says what to do without a connection."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on; the script is held until it is complete."""
        if scope["type"] != "http" or scope["method"] != "GET" or not _SCRIPT.fullmatch(scope["path"]):
            await self._app(scope, receive, send)
            return
        # plain text, and complete: words cannot be found in a compressed script, nor in part of one
        plain = [(k, v) for k, v in scope["headers"] if k not in (b"accept-encoding", b"range")]
        start: Message | None = None
        parts: list[bytes] = []

        async def held(message: Message) -> None:
            nonlocal start
            if message["type"] == "http.response.start":
                start = message
                return
            parts.append(message.get("body", b""))
            if not message.get("more_body", False) and start is not None:
                body = in_own_words(b"".join(parts))
                headers = MutableHeaders(scope=start)
                if body:
                    headers["Content-Length"] = str(len(body))
                await send(start)
                await send({"type": "http.response.body", "body": body})

        await self._app({**scope, "headers": plain}, receive, held)


@cache
def replaced_words() -> tuple[tuple[str, str], ...]:
    """The toolkit's words, each with the page's own."""
    return tuple((say["toolkit"], say["page"]) for say in packaged_toml("app.server", "own_words.toml")["say"])


def in_own_words(script: bytes) -> bytes:
    """A script with the page's words."""
    for toolkit, page in replaced_words():
        script = script.replace(toolkit.encode(), page.encode())
    return script
