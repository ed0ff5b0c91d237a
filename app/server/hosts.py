"""The page answers only to the names of the machine that it runs on, and only to itself.

Somebody else's web page can make its own name point to this machine once the browser has loaded it (DNS
rebinding); the browser then lets it talk to this page as if both were one. The name in the Host header gives it
away. Without that trick, the Origin header differs from the Host.

Starlette's ``TrustedHostMiddleware`` uses lists of names; an address is not a name, and no address can be listed in
advance if the phone reaches this machine through the address of another one.
"""

from __future__ import annotations

import ipaddress
import socket
from urllib.parse import urlsplit

from starlette.datastructures import Headers
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

# Suffixes of names on private networks that nobody can register: RFC 6762, RFC 8375, and ICANN's decision of
# 29 July 2024; .lan is common practice among routers, and not registered either.
_AT_HOME = (".local", ".home.arpa", ".internal", ".lan")
_REFUSED = "This page does not answer to that name. Open it at the address that the terminal shows.\n"


class OwnNames:
    """Refuses requests that were meant for another name, before anything else sees them.

    Always accepted: ``localhost``, names that end so, and loopback addresses. On a network also: bare addresses,
    which cannot hide a foreign name, and this machine's own name.
    """

    def __init__(self, app: ASGIApp, *, network: bool) -> None:
        """Put the check before an application.

        Args:
            app: the application, which gets only requests for a name of this machine.
            network: whether other devices may send requests too.
        """
        self._app, self._network = app, network
        own = socket.gethostname().lower()
        self._names = {own, *(own.partition(".")[0] + end for end in _AT_HOME)} if network else set()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, or refuse."""
        if scope["type"] == "lifespan" or self._is_ours(Headers(scope=scope)):
            await self._app(scope, receive, send)
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await PlainTextResponse(_REFUSED, 403)(scope, receive, send)

    def _is_ours(self, headers: Headers) -> bool:
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        name = _name_in(hosts[0]) if len(hosts) == 1 else None
        if name is None or any(origin.lower() not in _origins(hosts[0].lower()) for origin in origins):
            return False
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            return name == "localhost" or name.endswith(".localhost") or name in self._names
        return self._network or address.is_loopback


def _origins(host: str) -> tuple[str, str]:
    # https, if something before this page encrypts
    return f"http://{host}", f"https://{host}"


def _name_in(host: str) -> str | None:
    """The name or address in a Host header, without its port; None if it holds more or less than these."""
    if any(sign in host for sign in "@/?#\\") or not host.isascii():
        return None
    try:
        parts = urlsplit(f"//{host}")
        _ = parts.port  # an invalid port raises an error
    except ValueError:
        return None
    name = parts.hostname
    return name.removesuffix(".") if name else None
