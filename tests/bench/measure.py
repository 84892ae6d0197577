"""What a command takes, and how it is printed: one line beside what it is measured against."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter
from typing import NamedTuple

PYTHON, TOOL = sys.executable, str(Path(sys.executable).with_name("chanbridge"))
ROOT = Path(__file__).parents[2]

_MB = 1024 * 1024 if sys.platform == "darwin" else 1024
"""How many of the system's units of memory are a megabyte."""


class Spent(NamedTuple):
    """Processor seconds of a command and all that it starts, seconds by the wall, and megabytes of its largest process."""

    cpu_s: float
    wall_s: float = 0.0
    peak_mb: float = 0.0


class Row(NamedTuple):
    """A line of the table. `tenth`: the same with a tenth of the work, None where that is not asked."""

    what: str
    mine: Spent
    base: str
    other: Spent
    tenth: Spent | None = None

    def text(self) -> str:
        """At most 110 columns."""
        grown = f"{self.mine.cpu_s / self.tenth.cpu_s:6.1f} x" if self.tenth else ""
        wall = f"{self.mine.wall_s * 1000:.0f}" if self.mine.wall_s else ""
        memory = f"{self.mine.peak_mb:.0f}" if self.mine.peak_mb else ""
        return (
            f"{self.what:<37}{self.mine.cpu_s * 1000:>8.0f}{wall:>8}  {self.base:<26}{self.other.cpu_s * 1000:>7.0f}"
            f"{self.mine.cpu_s / self.other.cpu_s:>7.2f}{grown:>9}{memory:>7}"
        )


HEADING = f"{'':<37}{'cpu ms':>8}{'wall ms':>8}  {'beside':<26}{'cpu ms':>7}{'ratio':>7}{'10 x':>9}{'MB':>7}"


def spent(*command: str, times: int = 3, statuses: tuple[int, ...] = (0,), warm: bool = True) -> Spent:
    """The run of a command that takes the least processor time: what else the machine does only adds to it.

    One run before them does not count, if `warm`: it compiles what is needed. Raises SystemExit, with what the command
    said, where it ends with another status.
    """
    runs = [_once(command, statuses) for _ in range(times + warm)]
    return min(runs[warm:])


def _once(command: tuple[str, ...], statuses: tuple[int, ...]) -> Spent:
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    with tempfile.TemporaryFile() as said:
        start = perf_counter()
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=said,
            env=environment,
            cwd=ROOT,
        )
        _, status, usage = os.wait4(process.pid, 0)
        wall = perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in statuses:
            said.seek(0)
            sys.exit(
                f"{' '.join(command)[:200]} ended with {process.returncode}: {said.read()[-500:].decode()}"
            )
    return Spent(usage.ru_utime + usage.ru_stime, wall, usage.ru_maxrss / _MB)


def work(*arguments: str) -> str:
    """What a part of this bench says, run in a process of its own: `work("rows", "list.csv")`."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    command = [PYTHON, "-m", f"tests.bench.{arguments[0]}", *arguments[1:]]
    return subprocess.run(
        command, check=True, stdout=subprocess.PIPE, text=True, env=environment, cwd=ROOT
    ).stdout
