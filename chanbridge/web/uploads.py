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
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import IO, Any, NamedTuple
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

MOST_FILES = 128
"""Files of one recording: the tracks of a large recorder."""

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
        data = await body(request, MOST_SAID, SAID_S)
        found = json.loads(data)
        if b"\\u" in data:  # half of a letter, as of an emoji that a page has cut, becomes a question mark
            found = json.loads(json.dumps(found, ensure_ascii=False).encode("utf-8", "replace"))
    except (ValueError, RecursionError):
        raise RefusedError(400, "this is no JSON") from None
    if not isinstance(found, dict):
        raise RefusedError(400, "this says nothing")
    return found


def file_name(request: Request) -> str:
    """How an upload is called, for people; "pasted" where it has no name."""
    return _plain(unquote(request.headers.get("x-file-name", ""), errors="replace")) or "pasted"


def _plain(name: str) -> str:
    """A name for people: never a path, never with signs that a terminal or a page would follow."""
    return re.sub(r"[^\w .,()+-]", "_", name.replace("\\", "/").rpartition("/")[2]).strip(" .")[:80]


class Recorded(NamedTuple):
    """A file of a recording, as the page says it: its name, and its size in bytes."""

    name: str
    size: int


def _recorded(head: bytes) -> list[Recorded]:
    """The files that follow a head: JSON, `[[name, size], …]`. Raises RefusedError."""
    try:
        said = json.loads(head)
        files = [Recorded(_plain(name) or f"file {at}", size) for at, (name, size) in enumerate(said, 1)]
    except (ValueError, TypeError, AttributeError, RecursionError):
        files = []
    if not files or not all(type(one.size) is int and one.size >= 0 for one in files):
        raise RefusedError(400, "say first which files come, and how large they are")
    if len(files) > MOST_FILES:
        raise RefusedError(413, f"these are {len(files)} files; send at most {MOST_FILES}")
    return files


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
        coming = pieces(request, MOST_RECORDING, RECORDING_S)
        head = b""
        async for piece in coming:
            head += piece
            if b"\n" in head or len(head) > MOST_SAID:
                break
        said, _, rest = head.partition(b"\n")
        files = _recorded(said)
        with tempfile.TemporaryDirectory(prefix="chanbridge-") as folder:
            named = [f"{at}.wav" for at in range(1, len(files) + 1)]
            with writing(folder, named) as streams:
                await _spread(coming, rest, files, streams, folder)
            paths = {os.path.join(folder, name): one.name for name, one in zip(named, files, strict=True)}
            return await self.ask(asked | {"paths": paths}, b"", DETECT_S)


async def _spread(
    coming: AsyncIterator[bytes], rest: bytes, files: Sequence[Recorded], streams: Sequence[IO[bytes]], folder: str
) -> None:  # fmt: skip
    """Write what comes into one file after the other. Raises RefusedError where it is more or less than was said."""
    left = [one.size for one in files]
    at = size = 0
    piece: bytes | None = rest
    while piece is not None:
        if size % _LOOK < len(piece) and shutil.disk_usage(folder).free < SPARE + len(piece):
            raise RefusedError(507, "the disk of this machine is nearly full")
        size += len(piece)
        while piece:
            while at < len(left) and not left[at]:
                at += 1
            if at == len(left):
                raise RefusedError(400, "more came than the files should have; choose them again")
            mine, piece = piece[: left[at]], piece[left[at] :]
            await asyncio.to_thread(streams[at].write, mine)
            left[at] -= len(mine)
        piece = await anext(coming, None)
    if any(left):
        raise RefusedError(400, "less came than the files should have; choose them again")


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
