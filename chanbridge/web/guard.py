"""Who is let in, and what every answer carries: the door of the crew's page."""

from __future__ import annotations

import hmac
import secrets
import time
from collections import OrderedDict
from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie
from typing import Literal, NamedTuple
from urllib.parse import parse_qs, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from chanbridge.errors import Location, ReadError
from chanbridge.files import read_bytes, write_bytes

Role = Literal["look", "tick", "steer"]
ROLES: tuple[Role, ...] = ("look", "tick", "steer")
"""What a link lets someone do; each may do what those before it may."""

HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
"""On every answer, refusals included."""

WRONG_MOST = 8
WRONG_S = 60.0
"""So many wrong secrets from one address in so many seconds, and it is answered no more until they have passed."""

KEPT_S = 3 * 24 * 3600
"""Seconds for which a phone keeps its link: a show with its day before and after."""

_ADDRESSES = 4096
_LENGTH = 22  # characters of base64 from 16 random bytes

NO_KEY = "This page is for the crew. Scan the code, or ask whoever runs it for the link; an old link ends when new ones are made.\n"


class Links(NamedTuple):
    """The secret of each role."""

    look: str
    tick: str
    steer: str

    def role(self, said: str) -> Role | None:
        """The role that a secret stands for; takes the same time for a right and a wrong one."""
        found: Role | None = None
        for role, secret in zip(ROLES, self, strict=True):
            if hmac.compare_digest(secret.encode(), said.encode("utf-8", "replace")):
                found = role
        return found


def links_in(path: str, *, anew: bool) -> Links:
    """The links that are kept in a file, made where there are none, or `anew`, which ends the old ones.

    They stay the same, so that phones find their way back after the server was started again. Raises ReadError for a
    file that holds something else, WriteError where it cannot be written.
    """
    import os

    if not anew and os.path.exists(path):
        kept = read_bytes(path, 4096).decode("ascii", "replace").split()
        if len(kept) != len(ROLES) or any(len(secret) != _LENGTH for secret in kept):
            raise ReadError(
                "this file does not hold the links' secrets; make new ones with --new-links", Location(path)
            )
        return Links(*kept)
    made = Links(*(secrets.token_urlsafe(16) for _ in ROLES))
    before = os.umask(0o077)  # nobody else on this machine reads it
    try:
        write_bytes(path, "".join(f"{secret}\n" for secret in made).encode())
    finally:
        os.umask(before)
    return made


class Guard:
    """Lets in who knows a secret, or everyone where `links` is None; `host` is the address that is served.

    Puts the role into the scope's state. Writes must come from a page of this very server, every request must name the
    server as it is called, and every answer carries `HEADERS`.
    """

    def __init__(self, app: ASGIApp, links: Links | None, host: str, port: int) -> None:
        self.app = app
        self.links = links
        self.cookie = f"chanbridge-{port}"
        self._host, self._port = host, port
        self._wrong: OrderedDict[str, list[float]] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        fresh = ""

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    out[name] = value
                if fresh:
                    out.append(
                        "set-cookie",
                        f"{self.cookie}={fresh}; Path=/; Max-Age={KEPT_S}; HttpOnly; SameSite=Strict",
                    )
            await send(message)

        async def refuse(status: int, text: str, more: Mapping[str, str] | None = None) -> None:
            answer = PlainTextResponse(text, status, {"connection": "close", **(more or {})})
            await answer(scope, receive, guarded)

        if not self._is_us(headers.get("host", "")):
            await refuse(421, "This server does not go by that name.\n")
            return
        address = str((scope.get("client") or ("",))[0])
        role: Role | None = "steer"
        if self.links:
            wait = self._barred(address)
            if wait > 0:
                await refuse(
                    429, "Too many wrong links from here; wait a minute.\n", {"retry-after": f"{wait:.0f}"}
                )
                return
            said, from_link = self._secret(scope, headers)
            role = self.links.role(said) if said else None
            if role is None:
                if said:
                    self._count(address)
                await refuse(403, NO_KEY)
                return
            fresh = said if from_link else ""
        if scope["method"] not in ("GET", "HEAD") and not self._from_here(headers):
            await refuse(403, "Only this server's own pages may write here.\n")
            return
        scope.setdefault("state", {})["role"] = role
        await self.app(scope, receive, guarded)

    def _is_us(self, host: str) -> bool:
        """Whether a Host names this server, so that no other name can be made to lead here."""
        try:
            parts = urlsplit(f"//{host}")
            name, port = parts.hostname, parts.port
        except ValueError:
            return False
        if self.links is None:
            return name in ("127.0.0.1", "localhost", "::1")
        return name == self._host and (port or 80) == self._port

    @staticmethod
    def _from_here(headers: Headers) -> bool:
        """Whether a write comes from a page of ours: browsers say where from in Origin, which no page can change."""
        if headers.get("sec-fetch-site", "same-origin") != "same-origin":
            return False
        return headers.get("origin", "") == f"http://{headers.get('host', '')}"

    def _secret(self, scope: Scope, headers: Headers) -> tuple[str, bool]:
        """The secret of a request, and whether it stands in its link."""
        asked = parse_qs(scope["query_string"].decode("ascii", "replace"), max_num_fields=50).get("key", [])
        if asked:
            return asked[0], True
        try:
            kept = SimpleCookie(headers.get("cookie", "")).get(self.cookie)
        except CookieError:
            return "", False
        return (kept.value, False) if kept else ("", False)

    def _barred(self, address: str) -> float:
        """Seconds for which an address must wait."""
        tried = self._wrong.get(address, [])
        if len(tried) < WRONG_MOST:
            return 0.0
        left = tried[-WRONG_MOST] + WRONG_S - time.monotonic()
        return max(left, 1.0) if left > 0 else 0.0

    def _count(self, address: str) -> None:
        tried = self._wrong.setdefault(address, [])
        tried.append(time.monotonic())
        del tried[:-WRONG_MOST]
        self._wrong.move_to_end(address)
        while len(self._wrong) > _ADDRESSES:
            self._wrong.popitem(last=False)
