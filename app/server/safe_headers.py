"""Headers that browsers get with every answer of the page."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_NO_FRAME = "frame-ancestors 'none'"  # the page frames nothing of its own: its components are drawn in place
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",  # for browsers that do not know frame-ancestors
    "Referrer-Policy": "same-origin",  # the address holds the lot's key
    "Cross-Origin-Resource-Policy": "same-origin",
}


class SafeHeaders:
    """Adds headers to each answer: no other page may frame it, guess its type, load it, or learn its address.

    An answer's own headers on these points stay, except that nobody may frame it.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, and add the headers to the answer."""

        async def told(message: Message) -> None:
            if message["type"] == "http.response.start":
                message.setdefault("headers", [])
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                policy = headers.get("Content-Security-Policy")
                headers["Content-Security-Policy"] = f"{policy}; {_NO_FRAME}" if policy else _NO_FRAME
            await send(message)

        await self._app(scope, receive, told if scope["type"] == "http" else send)
