"""A small show, served in this process on a port of its own; everything goes over loopback."""

from __future__ import annotations

import http.client
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from chanbridge.journal import Journal
from chanbridge.show import load
from chanbridge.web.address import listening
from chanbridge.web.app import make
from chanbridge.web.guard import Guard, Links
from chanbridge.web.live import Live
from chanbridge.web.server import Server

SHOW = """\
title = "Evening in the Boat House"
rate = 48000

[[box]]
id = "A"
sheet = "band.csv"
inputs = 8
block = "stage"

[[block]]
id = "stage"
slots = 8

[[recipient]]
id = "desk"
name = "House desk"
takes = ["stage"]
tags = ["room"]

[[recipient]]
id = "ears"
name = "Ears desk"
takes = ["stage"]
tags = ["monitors"]
"""
BAND = "Ch,Name,Socket,48V\n1,Kick,A1,off\n2,Snare,A2,off\n3,Bass,A3,on\n4,Ana,A4,off\n5,Jonas,A5,off\n"
LINKS = Links(
    "look-0000000000000000000"[:22], "tick-0000000000000000000"[:22], "steer-000000000000000000"[:22]
)


class Answer(NamedTuple):
    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    def json(self) -> Any:
        return json.loads(self.body)


class Served:
    """A running server and a way to ask it."""

    def __init__(
        self, folder: Path, links: Links | None = None, port: int = 0, host: str = "127.0.0.1"
    ) -> None:
        self.folder, self.links, self.host = folder, links, host
        self.live = Live(load(str(folder), accept_rejected=True), Journal(folder))
        self.socket = listening("127.0.0.1", port)
        self.port: int = self.socket.getsockname()[1]
        app = Guard(make(self.live), links, host, self.port)
        self.server = Server(app, self.live.stop)
        self.thread = threading.Thread(target=self.server.run, args=([self.socket],), daemon=True)
        self.thread.start()
        while not self.server.started:
            time.sleep(0.005)

    @property
    def base(self) -> str:
        return f"http://{self.host}:{self.port}"

    def end(self) -> None:
        """Stop; a second time does nothing."""
        self.server.should_exit = True
        self.thread.join(10)
        assert not self.thread.is_alive()
        self.socket.close()

    def ask(
        self,
        path: str,
        data: Any = None,
        *,
        method: str = "",
        headers: Mapping[str, str] | None = None,
        role: str = "",
    ) -> Answer:
        """One request; what is sent as data, and not as bytes, is JSON, and comes from a page of ours."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        sent: dict[str, str] = {"Origin": self.base} if data is not None else {}
        if role and self.links:
            sent["Cookie"] = f"chanbridge-{self.port}={getattr(self.links, role)}"
        body = data if isinstance(data, bytes | None) else json.dumps(data).encode()
        link.request(method or ("GET" if data is None else "POST"), path, body, sent | dict(headers or {}))
        answer = link.getresponse()
        found = Answer(
            answer.status, {name.lower(): value for name, value in answer.getheaders()}, answer.read()
        )
        link.close()
        return found

    def raw(self, text: bytes, seconds: float = 10) -> bytes:
        """What is answered to bytes as they are."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=seconds) as link:
            link.sendall(text)
            out = b""
            while piece := link.recv(65536):
                out += piece
            return out


def small_show(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "show.toml").write_text(SHOW, "utf-8")
    (folder / "band.csv").write_text(BAND, "utf-8")
    return folder


ACTS = (
    SHOW
    + """
[[act]]
id = "duo"
name = "The duo"
sockets = { "A 1" = "Harp", "A 7" = "Kick" }
"""
)
"""The same with an act: a harp where the kick was, and the kick elsewhere."""


def show_with_acts(folder: Path) -> Path:
    (small_show(folder) / "show.toml").write_text(ACTS, "utf-8")
    return folder


Serve = Callable[..., Served]


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Serve]:
    running: list[Served] = []

    def start(folder: Path | None = None, links: Links | None = None, **more: Any) -> Served:
        running.append(Served(folder or small_show(tmp_path / "show"), links, **more))
        return running[-1]

    yield start
    for one in running:
        one.end()


def eventually(holds: Callable[[], bool], seconds: float = 20) -> None:
    """Wait until something holds; fail where it never does."""
    end = time.monotonic() + seconds
    while not holds():
        assert time.monotonic() < end, "it never came"
        time.sleep(0.02)


def tick(
    number: int, channel: str = "a-kick", at: str = "desk", result: str = "arrived", **more: Any
) -> dict[str, Any]:
    return {"id": f"tick-{number:08}", "channel": channel, "at": at, "result": result, **more}


@pytest.fixture(scope="module")
def free(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server without links, for all tests of a module that change nothing."""
    one = Served(small_show(tmp_path_factory.mktemp("free") / "show"))
    yield one
    one.end()


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The same with links."""
    one = Served(small_show(tmp_path_factory.mktemp("shared") / "show"), LINKS)
    yield one
    one.end()
