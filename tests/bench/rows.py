"""Large lists in and out, format by format: 100 000 channels in 14 columns, and a tenth of them.

Reading is a process of its own, its start included, beside the bare parser of the format. Writing is timed within one
process, beside the library that a user would write with: the same cells, no model. The collector of garbage is off in both.
"""

from __future__ import annotations

import csv
import gc
import io
import json
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from time import process_time

from tests.bench.measure import PYTHON, TOOL, Row, Spent, spent, work

LARGE, TENTH = 100_000, 10_000

PANDAS = """
import sys
import pandas as pd
frame = pd.read_csv(sys.argv[1], dtype=str, keep_default_na=False)
frame.rename(columns={"Ch": "Slot"}).to_csv(sys.argv[2], index=False, lineterminator="\\r\\n")
"""
MINE = "import sys, gc; gc.disable(); from chanbridge import formats; formats.read(sys.argv[1])"
_CALAMINE = (
    "calamine alone",
    "import sys, python_calamine as c; c.load_workbook(sys.argv[1]).get_sheet_by_index(0).to_python()",
)
_LINES = ("lines split", "import sys; [line.split('  ') for line in open(sys.argv[1])]")
PARSERS = {
    "csv": ("csv module alone", "import sys, csv; list(csv.reader(open(sys.argv[1], newline='')))"),
    "xml": ("lxml alone", "import sys, lxml.etree; lxml.etree.parse(sys.argv[1])"),
    "xlsx": _CALAMINE,
    "ods": _CALAMINE,
    "md": _LINES,
    "txt": _LINES,
}


def rows(folder: Path) -> Iterator[Row]:
    """CSV to CSV as a whole, then each format in and out."""
    sheets = {count: folder / f"list-{count}.csv" for count in (LARGE, TENTH)}
    for count, path in sheets.items():
        _sheet(path, count)
    copy = str(folder / "copy.csv")
    mine = {count: spent(TOOL, "convert", str(path), copy) for count, path in sheets.items()}
    script = spent(PYTHON, "-c", PANDAS, str(sheets[LARGE]), copy)
    yield Row(
        "100 000 rows, CSV to CSV",
        mine[LARGE],
        f"pandas script, {script.peak_mb:.0f} MB",
        script,
        mine[TENTH],
    )
    written = {count: json.loads(work("rows", str(path))) for count, path in sheets.items()}
    for suffix in PARSERS:
        files = [str(sheets[count].with_suffix(f".{suffix}")) for count in (LARGE, TENTH)]
        times = 2 if suffix in ("csv", "xlsx") else 1
        taken, tenth = (spent(PYTHON, "-c", MINE, path, times=times, warm=False) for path in files)
        name, program = PARSERS[suffix]
        alone = spent(PYTHON, "-c", program, files[0], times=times, warm=False)
        yield Row(
            f"100 000 rows from {suffix.upper()}", taken, f"{name}, {alone.peak_mb:.0f} MB", alone, tenth
        )
        if suffix in WRITERS:
            (taken_s, name, alone_s), (tenth_s, _, _) = (written[count][suffix] for count in (LARGE, TENTH))
            yield Row(
                f"100 000 rows to {suffix.upper()}", Spent(taken_s), name, Spent(alone_s), Spent(tenth_s)
            )


def _sheet(path: Path, rows: int) -> None:
    with path.open("w", encoding="utf-8") as stream:
        stream.write("Ch,Name,Box,Socket,Mic,Stand,48V,Polarity,Position,Group,Notes,Colour,Truck,Id\n")
        stream.writelines(
            f"{n + 1},Chair {n},B{n // 40},{n % 40 + 1},small condenser,boom,{'yes' if n % 2 else 'no'},normal,"
            f"row {n % 30},strings,,red,{n},id{n}\n"
            for n in range(rows)
        )


# In a process of its own


def _write_all(path: Path) -> dict[str, tuple[float, str, float]]:
    """Write a list beside itself in every format; what took how long, beside which writer, and how long that took."""
    from chanbridge import formats
    from tests.formats.books import ods, ods_table

    gc.disable()
    whole = formats.read(str(path)).map
    with path.open(newline="", encoding="utf-8") as stream:
        cells = list(csv.reader(stream))
    out = {}
    for suffix, (name, write) in WRITERS.items():
        start = process_time()
        data = formats.write(whole, formats.named(suffix), None, f".{suffix}")
        taken = process_time() - start
        if suffix != "csv":
            path.with_suffix(f".{suffix}").write_bytes(data)
        start = process_time()
        write(cells)
        out[suffix] = taken, name, process_time() - start
    path.with_suffix(".ods").write_bytes(ods(ods_table(*("|".join(row) for row in cells))))
    return out


def _csv(cells: list[list[str]]) -> None:
    csv.writer(io.StringIO()).writerows(cells)


def _xml(cells: list[list[str]]) -> None:
    from lxml import etree

    top = etree.Element("channels")
    for row in cells[1:]:
        channel = etree.SubElement(top, "channel")
        for heading, cell in zip(cells[0], row, strict=True):
            etree.SubElement(channel, "cell", {"heading": heading}).text = cell
    etree.tostring(top)


def _xlsx(cells: list[list[str]]) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(io.BytesIO(), {"in_memory": True}) as book:
        sheet = book.add_worksheet()
        for at, row in enumerate(cells):
            sheet.write_row(at, 0, row)


def _padded(cells: list[list[str]]) -> None:
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    "\n".join("  ".join(map(str.ljust, row, widths)) for row in cells)


WRITERS: dict[str, tuple[str, Callable[[list[list[str]]], None]]] = {
    "csv": ("csv module", _csv),
    "xml": ("lxml, an element a cell", _xml),
    "xlsx": ("xlsxwriter", _xlsx),
    "md": ("cells padded and joined", _padded),
    "txt": ("cells padded and joined", _padded),
}


if __name__ == "__main__":
    print(json.dumps(_write_all(Path(sys.argv[1]))))
