"""The page is put on the network: one address, one port, slow and greedy callers let go."""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import socket
from collections import Counter
from typing import Any

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol

from chanbridge.errors import ShowError

HEAD_S = 10.0
"""Seconds in which a caller must have said what it wants."""

MOST_OF_ONE, MOST_OF_ALL = 128, 512
"""Connections from one address, and altogether."""


def checked(address: str) -> str:
    """An address of one interface of this machine, as it is written in a link. Raises ShowError for any other."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        raise ShowError(
            f"--share {address!r}: write the address of one interface, such as 192.168.1.20, as `ip address` shows it"
        ) from None
    if found.is_unspecified:
        raise ShowError(
            f"--share {address}: this means every network of this machine, the audio network too; name the one interface "
            "that the phones are on"
        )
    if found.is_multicast or str(found) == "255.255.255.255":
        raise ShowError(f"--share {address}: this is no interface's own address")
    return str(found)


def listening(address: str, port: int) -> socket.socket:
    """A socket that listens; callers wait in it until the server runs. Raises ShowError saying what is in the way."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    made = socket.socket(family, socket.SOCK_STREAM)
    made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        made.bind((address, port))
        made.listen(128)
    except OSError as error:
        made.close()
        reasons = {
            errno.EADDRINUSE: f"port {port} is taken, perhaps by another show; choose another with --port",
            errno.EADDRNOTAVAIL: f"this machine has no interface with the address {address}; see `ip address`",
            errno.EACCES: f"port {port} is not for everybody; choose one above 1023 with --port",
        }
        said = (error.strerror or str(error)).lower()
        raise ShowError(
            reasons.get(error.errno or 0, f"{address} port {port} cannot be served: {said}")
        ) from None
    return made


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
