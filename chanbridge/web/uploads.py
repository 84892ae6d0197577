"""Takes in what is dropped on the page: bounded in bytes and seconds, read by a process that can be ended."""

from __future__ import annotations

import asyncio
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from starlette.requests import Request

from chanbridge.errors import ChanbridgeError
from chanbridge.files import writing

MOST_SHEET = 8 << 20
MOST_RECORDING = 2 << 30
MOST_SAID = 64 << 10
"""Bytes of a sheet, of a recording, and of anything else that a page sends."""

SHEET_S, RECORDING_S, SAID_S = 30.0, 1800.0, 10.0
"""Seconds in which the whole of each must have come in."""

PAUSE_S = 15.0
"""Seconds for which nothing may come."""

READ_S, DETECT_S = 20, 240
"""Seconds for which a sheet is read, and a recording is listened to."""

SPARE = 1 << 30
"""Bytes of the disk that stay free."""

AT_ONCE = 2
"""Uploads that are read at the same time; others are asked to try again."""

_LOOK = 16 << 20  # bytes from one look at the disk to the next
_ROOT = Path(__file__).parents[2]


class RefusedError(ChanbridgeError):
    """Something that was sent is not taken. `status` is that of the answer."""

    def __init__(self, status: int, message: str) -> None:
        super().__init__(message)
        self.status = status


async def pieces(request: Request, most: int, seconds: float) -> AsyncIterator[bytes]:
    """The body of a request, piece by piece. Raises RefusedError where it is too large, too slow, or breaks off."""
    said = request.headers.get("content-length", "0")
    too_large = RefusedError(413, f"this is larger than {most:,} bytes")
    if not said.isdecimal() or int(said) > most:
        raise too_large
    begun, size = time.monotonic(), 0
    while True:
        left = min(PAUSE_S, begun + seconds - time.monotonic())
        try:
            message = await asyncio.wait_for(request.receive(), max(left, 0.001))
        except TimeoutError:
            raise RefusedError(408, "this came in too slowly; try again nearer to the network") from None
        if message["type"] == "http.disconnect":
            raise RefusedError(400, "the upload broke off")
        piece = message.get("body", b"")
        size += len(piece)
        if size > most:
            raise too_large
        if piece:
            yield piece
        if not message.get("more_body"):
            return


async def body(request: Request, most: int, seconds: float) -> bytes:
    """The whole body of a request. Raises RefusedError."""
    return b"".join([piece async for piece in pieces(request, most, seconds)])


async def said(request: Request) -> dict[str, Any]:
    """What a page sends as JSON. Raises RefusedError."""
    try:
        found = json.loads(await body(request, MOST_SAID, SAID_S))
    except (ValueError, RecursionError):
        raise RefusedError(400, "this is no JSON") from None
    if not isinstance(found, dict):
        raise RefusedError(400, "this says nothing")
    return found


def file_name(request: Request) -> str:
    """How an upload is called, for people: never a path, never with signs that a terminal or a page would follow."""
    name = (
        unquote(request.headers.get("x-file-name", ""), errors="replace")
        .replace("\\", "/")
        .rpartition("/")[2]
    )
    return re.sub(r"[^\w .,()+-]", "_", name).strip(" .")[:80] or "pasted"


class Reader:
    """Reads uploads, a few at a time, each in a process of its own."""

    def __init__(self) -> None:
        self._running = 0

    async def ask(self, request: dict[str, Any], data: bytes, seconds: int) -> dict[str, Any]:
        """The answer of the process. Raises RefusedError where it has none to give."""
        if self._running >= AT_ONCE:
            raise RefusedError(503, "others are being read; try again in a moment")
        self._running += 1
        try:
            return await asyncio.to_thread(_ask, {**request, "seconds": seconds}, data, seconds)
        finally:
            self._running -= 1

    async def recording(self, request: Request, asked: dict[str, Any]) -> dict[str, Any]:
        """A recording is put on the disk as it comes in, listened to, and removed."""
        if self._running >= AT_ONCE:
            raise RefusedError(503, "others are being read; try again in a moment")
        with tempfile.TemporaryDirectory(prefix="chanbridge-") as folder:
            with writing(folder, ["recording.wav"]) as (stream,):
                size = 0
                async for piece in pieces(request, MOST_RECORDING, RECORDING_S):
                    if size % _LOOK < len(piece) and shutil.disk_usage(folder).free < SPARE + len(piece):
                        raise RefusedError(507, "the disk of this machine is nearly full")
                    await asyncio.to_thread(stream.write, piece)
                    size += len(piece)
            return await self.ask(asked | {"path": os.path.join(folder, "recording.wav")}, b"", DETECT_S)


def _ask(request: dict[str, Any], data: bytes, seconds: int) -> dict[str, Any]:
    paths = [os.path.abspath(path) for path in (*sys.path, str(_ROOT))]
    program = f"import sys; sys.path += {paths!r}; from chanbridge.web.reader import main; main()"
    process = subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # with the process that opens workbooks, so that both can be ended
    )
    try:
        out, _ = process.communicate(json.dumps(request).encode() + b"\n" + data, timeout=seconds + 5)
    except subprocess.TimeoutExpired:
        out = b""
    finally:
        _end(process)
    try:
        answer = json.loads(out)
    except ValueError:
        raise RefusedError(
            422,
            f"{request['name']}: reading this takes more than {seconds} seconds or more memory than it may",
        ) from None
    if "error" in answer:
        raise RefusedError(422, answer["error"])
    assert isinstance(answer, dict)
    return answer


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a process that has not ended by itself, and all that it has started."""
    if process.poll() is None:
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    process.communicate()
