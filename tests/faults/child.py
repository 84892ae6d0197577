"""Runs one command in a process of its own, which can be ended at any step that changes something on the disk.

Commands run in copies of a process that has loaded everything and done nothing: a copy of the tests' own process could
wait for ever on a lock that a thread of a library holds there.
"""

from __future__ import annotations

import errno
import multiprocessing
import os
import signal
import sqlite3
import sys
import time
import traceback
from collections.abc import Callable, Sequence
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerProcess
from pathlib import Path
from typing import Any, NamedTuple

CHANGES = frozenset(
    {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "sqlite3.connect", "tempfile.mkstemp"}
)
"""Audit events (Python's own list) before each of which a command is ended in some run; opening for writing is one too, and
each statement that SQLite carries out."""


class Ended(NamedTuple):
    """`status`: what the command returned, -9 where it was killed. `steps`: changes on the disk that it began."""

    status: int
    steps: int
    out: str
    err: str


class Running:
    """A command that was begun."""

    def __init__(self, process: ForkServerProcess, steps: Connection, out: Path, err: Path) -> None:
        self._process, self._steps, self._said = process, steps, (out, err)

    def kill(self) -> None:
        """End it as it is (signal 9)."""
        self._process.kill()

    def ended(self) -> Ended:
        """Wait for its end."""
        steps = 0
        with self._steps:
            while met := os.read(self._steps.fileno(), 65536):
                steps += len(met)
        self._process.join()
        status = self._process.exitcode
        assert status is not None
        return Ended(status, steps, *(path.read_text("utf-8", "replace") for path in self._said))


def begun(
    arguments: Sequence[str | Path],
    folder: Path,
    *,
    kill_before: int = 0,
    fail_at: int = 0,
    first: Callable[[], object] | None = None,
) -> Running:
    """Begin a command in `folder`. `kill_before`: the number of the step at which it is killed, from 1.

    `fail_at`: the step that the system refuses: no space left; SQLite's steps cannot be refused that way. `first` is
    called in its process, for limits and the like; it must be one that pickle knows.
    """
    server = multiprocessing.get_context("forkserver")
    server.set_forkserver_preload(["tests.faults.loaded"])
    reading, writing = server.Pipe(False)
    out, err = (folder.parent / f"{folder.name}.{name}" for name in ("out", "err"))
    process = server.Process(
        target=_in_child, args=(arguments, folder, kill_before, fail_at, writing, out, err, first)
    )
    process.start()
    writing.close()
    return Running(process, reading, out, err)


def run(
    arguments: Sequence[str | Path],
    folder: Path,
    *,
    kill_before: int = 0,
    kill_after_s: float = 0,
    fail_at: int = 0,
    first: Callable[[], object] | None = None,
) -> Ended:
    """Run a command to its end, as in `begun`. `kill_after_s`: the time after which it is killed."""
    running = begun(arguments, folder, kill_before=kill_before, fail_at=fail_at, first=first)
    if kill_after_s:
        time.sleep(kill_after_s)
        running.kill()
    return running.ended()


def _in_child(
    arguments: Sequence[str | Path],
    folder: Path,
    kill_before: int,
    fail_at: int,
    writing: Connection,
    out: Path,
    err: Path,
    first: Callable[[], object] | None,
) -> None:
    status = 70
    try:
        os.chdir(folder)
        for number, path in ((1, out), (2, err)):
            os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        sys.stdin, sys.stdout, sys.stderr = (
            os.fdopen(number, "w" if number else "r", encoding="utf-8") for number in (0, 1, 2)
        )
        sys.argv = ["chanbridge", *map(str, arguments)]
        steps = 0

        def step(_: str = "") -> None:
            nonlocal steps
            steps += 1
            if steps == kill_before:
                os.kill(os.getpid(), signal.SIGKILL)
            os.write(writing.fileno(), b".")
            if steps == fail_at:
                raise OSError(errno.ENOSPC, "No space left on device")

        def met(event: str, details: tuple[Any, ...]) -> None:
            changes = (
                event == "open" and isinstance(details[2], int) and details[2] & (os.O_WRONLY | os.O_RDWR)
            )
            if event in CHANGES or (
                changes and not isinstance(details[0], int) and not str(details[0]).endswith(".pyc")
            ):
                step()

        connect = sqlite3.connect

        def connected(*details: Any, **more: Any) -> sqlite3.Connection:
            link: sqlite3.Connection = connect(*details, **more)
            link.set_trace_callback(step)
            return link

        sqlite3.connect = connected  # type: ignore[assignment]
        from chanbridge.cli import main

        if first:
            first()
        sys.addaudithook(met)
        main()
    except SystemExit as error:
        status = error.code if isinstance(error.code, int) else 71
    except BaseException:
        os.write(2, traceback.format_exc().encode("utf-8", "backslashreplace"))
    finally:
        try:
            sys.stdout.flush()
            sys.stderr.flush()
        except OSError:
            status = 72
        os._exit(status)


def tree(folder: Path) -> dict[str, bytes]:
    """Every file below a folder; a link is what it names, the journal is left out: see its own tests."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not path.name.startswith("journal"):
            found[name] = path.read_bytes()
    return found
