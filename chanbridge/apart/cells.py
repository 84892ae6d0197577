"""The cells of a workbook as texts: what runs in the process of its own. A workbook in, marshalled sheets out."""

from __future__ import annotations

import datetime
import gc
import io
import marshal
import os
import re
import sys
from bisect import bisect_right
from collections.abc import Iterator
from typing import Any

import python_calamine

from chanbridge.apart.marks import Cell, Marks, Ods, Range, Xlsx
from chanbridge.apart.package import Package, damaged, encrypted
from chanbridge.apart.sheet import LARGEST, MEMORY, SECONDS, TOO_LARGE, Sheet, number_text
from chanbridge.errors import ReadError


class _NumberTexts(dict[float, str]):
    """The texts of the numbers met so far."""

    def __missing__(self, value: float) -> str:
        text = self[value] = number_text(value)
        return text


def clock_text(seconds: float) -> str:
    """A time of day or a duration: `9:05`, `26:00:30`."""
    whole = round(seconds)
    minutes, second = divmod(abs(whole), 60)
    text = f"{minutes // 60}:{minutes % 60:02}" + (f":{second:02}" if second else "")
    return f"-{text}" if whole < 0 else text


def odd_text(value: Any) -> tuple[str, str]:
    """Anything else in a cell as text, with its kind: "date", "moment", "time" or "" where it needs no word."""
    match value:
        case bool():
            return "", str(value).upper()
        case datetime.datetime():
            return "moment", f"{value.date()} {value:%H:%M}" + (f":{value:%S}" if value.second else "")
        case datetime.date():
            return "date", value.isoformat()
        case datetime.time():
            return "time", clock_text(value.hour * 3600 + value.minute * 60 + value.second)
        case datetime.timedelta():
            return "time", clock_text(value.total_seconds())
    return "", str(value)


def sheets(data: bytes, hidden: bool) -> Iterator[Sheet]:
    """Every sheet of a workbook. Raises ReadError without a place."""
    package = Package(data)
    extra = Xlsx(package) if package.kind == "xlsx" else Ods(package) if package.kind == "ods" else None
    try:
        workbook = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        for about in workbook.sheets_metadata:
            shown = about.visible is python_calamine.SheetVisibleEnum.Visible
            if shown or hidden:
                yield _sheet(workbook.get_sheet_by_name(about.name), shown, extra)
            else:
                yield Sheet(about.name, False, 0, [], [], [], [], [], [], extra is None)
    except python_calamine.PasswordError:
        raise encrypted() from None
    except python_calamine.CalamineError as error:
        raise damaged(f"its cells cannot be read ({error})") from None


def _sheet(source: python_calamine.CalamineSheet, shown: bool, extra: Xlsx | Ods | None) -> Sheet:
    top, left = source.start or (0, 0)
    texts = _NumberTexts()
    rows: dict[int, list[str]] = {}
    dates: dict[Cell, tuple[str, str]] = {}
    others: list[Any] = []

    def other(cell: Any) -> str:
        others.append(cell)
        return odd_text(cell)[1]

    for number, cells in enumerate(source.to_python(), top + 1):
        rows[number] = [
            cell if type(cell) is str else texts[cell] if type(cell) is float else other(cell)
            for cell in cells
        ]
        if others:
            for at, cell in enumerate(cells, left):
                if not isinstance(cell, (str, float)) and (odd := odd_text(cell))[0]:
                    dates[number, at] = odd
            others.clear()
    table = _Table(left, rows)
    marks = extra.marks(source.name, dates.keys()) if extra else Marks()
    for where in (
        marks.dates.keys() - dates.keys()
    ):  # calamine hands over an ODS time of more than a day as it stands
        length = _LENGTH.fullmatch(table.text(where))
        if length:
            hours, minutes, seconds = (float(part or 0) for part in length.groups())
            dates[where] = "time", clock_text(3600 * hours + 60 * minutes + seconds)
            table.put(where, dates[where][1])
    for where, text in (marks.texts | marks.errors).items():
        table.put(where, text)
    table.fill(marks.merged if isinstance(extra, Ods) else _merged(source))
    numbers = [
        number for number, row in sorted(table.rows.items()) if not "".join(row).isspace() and any(row)
    ]
    return Sheet(
        source.name,
        shown,
        table.left,
        numbers,
        [table.rows[number] for number in numbers],
        _within(numbers, marks.hidden),
        sorted((*where, text) for where, text in marks.errors.items()),
        sorted(marks.formulas),
        sorted((*where, *odd, marks.dates.get(where, "")) for where, odd in dates.items()),
        extra is None,
    )


_LENGTH = re.compile(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:[.,]\d+)?)S)?")


def _merged(source: python_calamine.CalamineSheet) -> list[Range]:
    ranges = source.merged_cell_ranges or []
    return [((top + 1, left), (bottom + 1, right)) for (top, left), (bottom, right) in ranges]


def _within(numbers: list[int], runs: list[tuple[int, int]]) -> list[int]:
    """The numbers that lie in one of the runs."""
    runs = sorted(runs)
    starts = [first for first, _ in runs]
    found = [(number, bisect_right(starts, number) - 1) for number in numbers]
    return [number for number, run in found if run >= 0 and number <= runs[run][1]]


class _Table:
    """Rows by their numbers, all from the column `left` on."""

    def __init__(self, left: int, rows: dict[int, list[str]]) -> None:
        self.left = left
        self.rows = rows

    def text(self, where: Cell) -> str:
        number, at = where
        row = self.rows.get(number, [])
        return row[at - self.left] if self.left <= at < self.left + len(row) else ""

    def put(self, where: Cell, text: str) -> None:
        number, at = where
        if at < self.left:
            for row in self.rows.values():
                row[:0] = [""] * (self.left - at)
            self.left = at
        row = self.rows.setdefault(number, [])
        row += [""] * (at - self.left + 1 - len(row))
        row[at - self.left] = text

    def fill(self, merged: list[Range]) -> None:
        """Put the text of cells merged over several rows into the left one of each row that has other text.

        So a box name reaches its rows, a heading of two rows its lower one; a title across columns stays one
        cell, and a title over several rows does not become several.
        """
        reached: dict[int, int] = {}
        for (top, left), (bottom, _) in sorted(merged):
            if top > reached.get(left, 0):
                reached[left] = bottom
                text = self.text((top, left))
                for number in range(top + 1, bottom + 1) if text else ():
                    if any(self.rows.get(number, ())) and not self.text((number, left)):
                        self.put((number, left), text)


def main() -> None:
    """Read a workbook from standard input, write its sheets, or what is wrong with it, to standard output.

    The one argument is "hidden" where hidden sheets are wanted.
    """
    _limit()
    gc.disable()  # there is nothing to collect, and looking for it takes a quarter of the time
    try:
        found = sheets(sys.stdin.buffer.read(), sys.argv[1:] == ["hidden"])
        output = marshal.dumps([tuple(sheet) for sheet in found])  # here five times as fast as JSON
        if len(output) > LARGEST:
            raise ReadError(f"this workbook holds more than {LARGEST:,} bytes of text; no channel list does")
    except ReadError as error:
        output = marshal.dumps(error.message)
    except MemoryError:
        output = marshal.dumps(TOO_LARGE)
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # of python-calamine, which does not export it
            raise
        output = marshal.dumps(damaged("its cells cannot be read").message)
    sys.stdout.buffer.write(output)
    sys.stdout.flush()
    os._exit(0)  # the system takes the memory back faster than the interpreter


def _limit() -> None:
    if sys.platform != "win32":
        import resource

        for kind, most in (
            (resource.RLIMIT_AS, MEMORY),
            (resource.RLIMIT_CPU, SECONDS),
            (resource.RLIMIT_CORE, 0),
        ):
            allowed = resource.getrlimit(kind)[1]
            resource.setrlimit(
                kind, (most if allowed == resource.RLIM_INFINITY else min(most, allowed), allowed)
            )
