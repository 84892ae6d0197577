"""The page is put on the network: slow and greedy callers are let go."""

from __future__ import annotations

import asyncio
import socket
from collections import Counter
from typing import Any

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0
"""Seconds in which a caller must have said what it wants."""

MOST_OF_ONE, MOST_OF_ALL = 128, 512
"""Connections from one address, and altogether."""


_callers: Counter[str] = Counter()


class _Patient(H11Protocol):
    """HTTP, for callers who say within HEAD_S what they want, and do not come in crowds."""

    _late: asyncio.TimerHandle | None = None
    _address: str = ""

    def connection_made(self, transport: Any) -> None:
        peer = transport.get_extra_info("peername") or ("",)
        self._address = str(peer[0])
        _callers[self._address] += 1
        super().connection_made(transport)
        if _callers[self._address] > MOST_OF_ONE or _callers.total() > MOST_OF_ALL:
            transport.abort()
            return
        self._late = self.loop.call_later(HEAD_S, self._let_go)

    def _let_go(self) -> None:
        if self.cycle is None:
            self.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        if self._late:
            self._late.cancel()
        _callers[self._address] -= 1
        _callers.__isub__(Counter())  # keeps only those who are there
        super().connection_lost(exc)


class Server(uvicorn.Server):
    """Ends every page's stream before it waits for callers to go."""

    def __init__(self, app: ASGIApp, end: Any) -> None:
        super().__init__(
            uvicorn.Config(
                app, http=_Patient, ws="none", lifespan="on", log_level="warning", access_log=False, server_header=False,
                date_header=False, proxy_headers=False, timeout_keep_alive=30, timeout_graceful_shutdown=2,
            )
        )  # fmt: skip
        self._end = end

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        await self._end()
        await super().shutdown(sockets)


def run(app: ASGIApp, end: Any, at: socket.socket) -> None:
    """Serve until somebody ends it."""
    Server(app, end).run([at])
