"""Where the page is served: one address of one interface, one port."""

from __future__ import annotations

import errno
import ipaddress
import socket

from chanbridge.errors import ShowError


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
