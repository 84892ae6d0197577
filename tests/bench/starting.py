"""Start-up beside a bare interpreter, and small conversions beside a script that a user would write instead."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tests.bench.measure import PYTHON, TOOL, Row, spent

PANDAS = """
import sys
import pandas as pd
frame = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
frame.columns = [name.replace(" ", "_") for name in frame.columns]
frame.to_xml(sys.argv[2], index=False, root_name="channels", row_name="channel")
"""


def rows(folder: Path) -> Iterator[Row]:
    """Commands, their own start included."""
    bare = spent(PYTHON, "-c", "pass", times=7)
    for option in ("--help", "--version"):
        yield Row(f"chanbridge {option}", spent(TOOL, option, times=7), "python -c pass", bare)
    sheets = {}
    for count in (64, 640):
        sheets[count] = folder / f"sheet-{count}.csv"
        lines = (f"{n},Chair {n},A,{n},yes,row {n % 8}" for n in range(1, count + 1))
        sheets[count].write_text("\n".join(("Slot,Name,Box,Socket,Phantom,Notes", *lines, "")), "utf-8")
    script = spent(PYTHON, "-c", PANDAS, str(sheets[640]), str(folder / "other.xml"))
    for suffix in ("csv", "xml", "xlsx", "md"):
        taken = {
            count: spent(TOOL, "convert", str(sheet), str(folder / f"mine.{suffix}"))
            for count, sheet in sheets.items()
        }
        name = f"convert 640 channels to {suffix.upper()}"
        yield Row(name, taken[640], "pandas script to XML", script, taken[64])
