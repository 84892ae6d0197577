"""Two lists compared, beside what one would write with a data frame: an outer join by name."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path

from tests.bench.measure import PYTHON, TOOL, Row, spent

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


def rows(folder: Path) -> Iterator[Row]:
    """The command, which ends with 1 where it finds something, beside the join."""
    taken = {}
    for count in (500, 5_000):
        one, two = lists(str(folder), count)
        taken[count] = spent(TOOL, "compare", one, two, statuses=(0, 1)), spent(PYTHON, "-c", JOIN, one, two)
    mine, other = taken[5_000]
    yield Row("compare two lists of 5 000", mine, "pandas outer join", other, taken[500][0])
