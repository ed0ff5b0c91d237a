"""Limits on the wait for a request and on the number of connections; uvicorn itself waits for ever.

Without a limit, somebody who opens connections and sends nothing takes all that the system grants a program
(1,024 files on many systems), and nobody else gets an answer.
"""

from __future__ import annotations

import asyncio
from collections import defaultdict
from typing import Any

from uvicorn.protocols.http.auto import AutoHTTPProtocol

_REQUEST_S = 10.0  # a phone at the edge of its network sends the head of a request in less
_FROM_ONE_ADDRESS, _IN_ALL = 100, 400  # a browser opens six for files, and one for each window


class Connections:
    """The open connections, by the address that they come from."""

    def __init__(self, from_one: int = _FROM_ONE_ADDRESS, in_all: int = _IN_ALL) -> None:
        self._from_one, self._in_all = from_one, in_all
        self._open: defaultdict[str, set[asyncio.BaseTransport]] = defaultdict(set)

    def take(self, transport: asyncio.BaseTransport) -> bool:
        """Whether there is room for one more connection; if so, it is counted until it closes."""
        for address in list(self._open):
            self._open[address] = {each for each in self._open[address] if not each.is_closing()}
            if not self._open[address]:
                del self._open[address]
        peer = transport.get_extra_info("peername")
        address = str(peer[0]) if peer else ""
        if len(self._open.get(address, ())) >= self._from_one or sum(map(len, self._open.values())) >= self._in_all:
            return False
        self._open[address].add(transport)
        return True


class PatientHttp(AutoHTTPProtocol):  # type: ignore[misc, valid-type]
    """Uvicorn's protocol, with limited patience."""

    connections_taken = Connections()
    request_s = _REQUEST_S
    _deadline: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:
        """Begin to wait for a request, or hang up if there are too many connections already."""
        super().connection_made(transport)
        if self.connections_taken.take(transport):
            self._wait()
        else:
            transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take the data; the time runs on until the data make up a request."""
        super().data_received(data)
        cycle: Any = self.cycle
        if self.transport.get_protocol() is not self or (cycle is not None and not cycle.response_complete):
            self._stop_waiting()
        elif self._deadline is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop waiting."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait(self) -> None:
        self._deadline = asyncio.get_running_loop().call_later(self.request_s, self._hang_up)

    def _stop_waiting(self) -> None:
        if self._deadline is not None:
            self._deadline.cancel()
            self._deadline = None

    def _hang_up(self) -> None:
        self._deadline = None
        cycle: Any = self.cycle
        if self.transport.get_protocol() is self and (cycle is None or cycle.response_complete):
            self.transport.close()
