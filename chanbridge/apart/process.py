"""Starts the process that opens workbooks, asks it, and starts another where a workbook has ended it."""

from __future__ import annotations

import atexit
import gc
import marshal
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import IO, Any, cast

from chanbridge.apart.sheet import ANSWER, LARGE, REQUEST, SECONDS, TOO_LARGE, Sheet
from chanbridge.errors import Location, ReadError

_ROOT = Path(__file__).parents[2]
_NO_TRACE = {"RUST_BACKTRACE": "0"}  # tracing its way when memory has run out can block calamine for ever
_OUT_OF_TIME = (9, 24)  # SIGKILL and SIGXCPU
_TOO_LONG = f"reading this workbook takes more than {SECONDS} seconds, which no channel list does; is it the right file?"


def sheets(data: bytes, source: str, hidden: bool) -> list[Sheet]:
    """Every sheet of an XLSX, XLS or ODS workbook; hidden ones without content unless they are asked for.

    python-calamine makes room for whatever size a workbook states and ends its process where there is not
    that much, so it runs in another one, with bounds to its memory (where the system has them) and time.
    Raises ReadError for whatever is no workbook, is encrypted, damaged or too large.
    """
    with _lock:
        ended, answer = _ask(data, hidden)
    if ended == 1:
        raise RuntimeError("the process that opens workbooks does not start; is python-calamine installed?")
    if answer is None:
        raise ReadError(_TOO_LONG if -ended in _OUT_OF_TIME else TOO_LARGE, Location(source))
    kind, content = _loaded(answer)
    match kind:
        case "error":
            raise ReadError(content, Location(source))
        case "fault":
            raise RuntimeError(content)  # of this program, not of the workbook
    return [Sheet(*fields) for fields in content]


_lock = threading.Lock()
_running: list[subprocess.Popen[bytes]] = []
"""The process, or nothing while there is none."""


def _ask(data: bytes, hidden: bool) -> tuple[int, bytes | None]:
    """The answer to a request, or None and how the process ended."""
    if _running and _running[0].poll() is not None:
        end()
    if not _running:
        _running.append(_start())
    process = _running[0]
    requests, answers = cast(IO[bytes], process.stdin), cast(IO[bytes], process.stdout)
    clock = threading.Timer(SECONDS + 10, process.kill)
    clock.start()
    try:
        requests.write(REQUEST.pack(len(data), hidden) + data)
        requests.flush()
        header = answers.read(ANSWER.size)
        size = ANSWER.unpack(header)[0] if len(header) == ANSWER.size else -1
        answer = answers.read(size) if size > 0 else b""
    except BrokenPipeError:
        size, answer = -1, b""
    except BaseException:
        end()
        raise
    finally:
        clock.cancel()
    if len(answer) == size:
        if len(data) > LARGE:
            end()
        return 0, answer
    process.wait()
    return end(), None


def _start() -> subprocess.Popen[bytes]:
    paths = [os.path.abspath(path) for path in (*sys.path, str(_ROOT))]
    program = f"import sys; sys.path += {paths!r}; from chanbridge.apart.cells import main; main()"
    return subprocess.Popen(
        [sys.executable, "-I", "-S", "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, **_NO_TRACE},
    )


def end() -> int:
    """End the process, if there is one; what it returned, 0 if none."""
    code = 0
    while _running:
        process = _running.pop()
        process.kill()
        process.communicate()
        code = process.returncode
    return code


def _forget() -> None:
    """In a copy of this process: the other process belongs to the original."""
    global _lock
    _lock = threading.Lock()
    _running.clear()


atexit.register(end)
if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget)


def _loaded(output: bytes) -> Any:
    collecting = gc.isenabled()
    gc.disable()  # nothing that is made here is garbage
    try:
        return marshal.loads(output)
    finally:
        if collecting:
            gc.enable()
