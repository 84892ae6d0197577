"""Two lists compared, beside what one would write with a data frame: an outer join by name."""

from __future__ import annotations

import os
import random
import resource
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

JOIN = """
import sys
import pandas as pd
one, two = (pd.read_csv(path, dtype=str, keep_default_na=False) for path in sys.argv[1:3])
print(len(one.merge(two, on="Name", how="outer", indicator=True)))
"""
"""The join finds equal names alone."""

_LONG = (
    "Violin",
    "Viola",
    "Cello",
    "Choir soprano",
    "Choir alto",
    "Lead vocal",
    "Snare top",
    "Electric guitar",
)
_TAPE = ("Vln", "Vla", "Vc", "ChrSop", "ChrAlt", "LdVox", "SnTop", "EGtr")


def lists(folder: str, rows: int) -> tuple[str, str]:
    """Two sheets of `rows` channels: half of the names abbreviated, one in 50 on another socket, one in 100 left out."""
    chance = random.Random(rows)
    paths = []
    for turn in range(2):
        paths.append(os.path.join(folder, f"{'two' if turn else 'one'}-{rows}.csv"))
        with open(paths[-1], "w", encoding="utf-8") as stream:
            stream.write("Ch,Name,Box,Socket,48V\n")
            for n in range(rows):
                if turn and not chance.randrange(100):
                    continue
                names = _TAPE if turn and chance.randrange(2) else _LONG
                socket = n % 40 + (60 if turn and not chance.randrange(50) else 1)
                stream.write(f"{n + 1},{names[n % 8]} {n // 8 + 1},B{n // 40},{socket},yes\n")
    return paths[0], paths[1]


Row = tuple[str, float, str, float]


def timings(folder: str, seconds: Callable[..., float]) -> Iterator[Row]:
    """What was compared, seconds, what it is measured against, seconds. `seconds` times a command."""
    python, tool = sys.executable, str(Path(sys.executable).with_name("chanbridge"))
    for rows, times in ((64, 7), (5_000, 3)):
        one, two = lists(folder, rows)
        command = (python, "-c", ACCEPT_1, tool, "compare", one, two)
        mine = seconds(*command, times=times)
        yield (
            f"compare {rows} rows",
            mine,
            "pandas outer join",
            seconds(python, "-c", JOIN, one, two, times=times),
        )
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"the largest process so far held {peak:.0f} MB")


ACCEPT_1 = "import subprocess, sys; sys.exit(subprocess.run(sys.argv[1:], capture_output=True).returncode not in (0, 1))"
"""Run a command that ends with 1 where it found something."""
