"""Print how long things take beside what they are measured against.

Run with compiled bytecode on both sides: PYTHONDONTWRITEBYTECODE unset, each command once before it counts.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

PANDAS = """
import sys
import pandas as pd
frame = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
frame.columns = [name.replace(" ", "_") for name in frame.columns]
frame.to_xml(sys.argv[2], index=False, root_name="channels", row_name="channel")
"""
"""What a user would write instead: a 64-row CSV to XML through pandas."""


def seconds(*command: str, times: int = 7) -> float:
    """The median wall time of a command, after one run that compiles what it needs."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    taken = []
    for turn in range(times + 1):
        start = time.perf_counter()
        subprocess.run(command, check=True, capture_output=True, env=environment)
        if turn:
            taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def row(what: str, mine: float, base: str, other: float) -> None:
    print(f"{what:<34}{mine * 1000:8.0f} ms   {base:<28}{other * 1000:8.0f} ms   ratio {mine / other:6.2f}")


def main() -> None:
    """Start-up against a bare interpreter, a small conversion against a pandas script."""
    python, tool = sys.executable, str(Path(sys.executable).with_name("chanbridge"))
    with tempfile.TemporaryDirectory() as folder:
        sheet = os.path.join(folder, "sheet.csv")
        with open(sheet, "w", encoding="utf-8") as stream:
            stream.write("Slot,Name,Box,Socket,Phantom,Notes\n")
            stream.writelines(f"{n},Chair {n},A,{n},yes,row {n % 8}\n" for n in range(1, 65))
        target = os.path.join(folder, "sheet.xml")
        bare = seconds(python, "-c", "pass")
        row("chanbridge --help", seconds(tool, "--help"), "python -c pass", bare)
        try:
            pandas = seconds(python, "-c", PANDAS, sheet, target, times=3)
        except subprocess.CalledProcessError as error:
            sys.exit(f"the baseline needs pandas and lxml: {error.stderr.decode()[-200:]}")
        row("convert 64 rows, CSV to XML", seconds(tool, "convert", sheet, target), "pandas script", pandas)
        example = str(Path(__file__).parents[2] / "examples" / "winter-concert")
        row(
            "handover of the example",
            seconds(tool, "handover", example, "-o", folder),
            "python -c pass",
            bare,
        )


if __name__ == "__main__":
    main()
