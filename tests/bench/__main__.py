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

from tests.bench import comparing, frames, identing, packing, phones

PANDAS = """
import sys
import pandas as pd
frame = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
frame.columns = [name.replace(" ", "_") for name in frame.columns]
frame.to_xml(sys.argv[2], index=False, root_name="channels", row_name="channel")
"""
"""What a user would write instead: a 64-row CSV to XML through pandas."""


PANDAS_LARGE = """
import sys
import pandas as pd
frame = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
frame.rename(columns={"Ch": "Slot"}).to_csv(sys.argv[2], index=False, lineterminator="\\r\\n")
"""
"""The same without a model: a large CSV in and out."""

CALAMINE = "import sys, python_calamine; python_calamine.load_workbook(sys.argv[1]).get_sheet_by_index(0).to_python()"
"""The reader of workbooks alone."""


def large_sheet(path: str, rows: int) -> None:
    """A list of `rows` channels in 14 columns."""
    with open(path, "w", encoding="utf-8") as stream:
        stream.write("Ch,Name,Box,Socket,Mic,Stand,48V,Polarity,Position,Group,Notes,Colour,Truck,Id\n")
        stream.writelines(
            f"{n + 1},Chair {n},B{n // 40},{n % 40 + 1},small condenser,boom,{'yes' if n % 2 else 'no'},normal,"
            f"row {n % 30},strings,,red,{n},id{n}\n"
            for n in range(rows)
        )


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
        for line in comparing.timings(folder, seconds):
            row(*line)
        for line in packing.timings(folder, seconds):
            row(*line)
        for line in identing.timings(folder, seconds):
            row(*line)
        big, copy, book = (os.path.join(folder, name) for name in ("big.csv", "copy.csv", "big.xlsx"))
        large_sheet(big, 100_000)
        without = seconds(python, "-c", PANDAS_LARGE, big, copy, times=3)
        row(
            "100 000 rows, CSV to CSV",
            seconds(tool, "convert", big, copy, times=3),
            "pandas, no model",
            without,
        )
        subprocess.run([tool, "convert", big, book], check=True, capture_output=True)
        alone = seconds(python, "-c", CALAMINE, book, times=3)
        row(
            "100 000 rows, XLSX to CSV",
            seconds(tool, "convert", book, copy, times=3),
            "calamine, only reading",
            alone,
        )
        example = str(Path(__file__).parents[2] / "examples" / "winter-concert")
        row(
            "handover of the example, all papers",
            seconds(tool, "handover", example, "-o", folder, times=3),
            "only lists, no paper",
            seconds(tool, "handover", example, "-o", folder, "--formats", "csv,xml,txt", times=3),
        )
        row("prove the example", seconds(tool, "prove", example), "python -c pass", bare)
        for said in phones.lines(Path(folder)):
            print(said)
    frames.main()


if __name__ == "__main__":
    main()
