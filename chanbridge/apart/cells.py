"""The cells of a workbook as texts: what runs in the process of its own."""

from __future__ import annotations

import datetime
import gc
import io
import marshal
import re
import signal
import sys
import time
import traceback
from bisect import bisect_right
from collections.abc import Iterator
from typing import Any

import python_calamine

from chanbridge.apart.marks import Cell, Marks, Ods, Range, Xlsx
from chanbridge.apart.package import Package, damaged
from chanbridge.apart.sheet import (
    ANSWER,
    LARGEST,
    MEMORY,
    REQUEST,
    SECONDS,
    TOO_LARGE,
    Sheet,
    number_text,
)  # fmt: skip
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
            shown = about.visible == python_calamine.SheetVisibleEnum.Visible
            if shown or hidden:
                yield _sheet(workbook.get_sheet_by_name(about.name), shown, extra)
            else:
                yield Sheet(about.name, False, 0, [], [], [], [], [], [], extra is None)
    except python_calamine.CalamineError as error:
        raise damaged(f"its cells cannot be read ({error})") from None


def _sheet(source: python_calamine.CalamineSheet, shown: bool, extra: Xlsx | Ods | None) -> Sheet:
    rows, dates = _texts(source)
    table = _Table((source.start or (0, 0))[1], rows)
    marks = extra.marks(source.name, dates.keys()) if extra else Marks()
    for where in marks.dates.keys() - dates.keys():
        length = _LENGTH.fullmatch(table.text(where))
        if length:  # an ODS time of more than a day, which calamine hands over as it stands
            hours, minutes, seconds = (float(part or 0) for part in length.groups())
            dates[where] = "time", clock_text(3600 * hours + 60 * minutes + seconds)
            table.put(where, dates[where][1])
    for where, text in (marks.texts | marks.errors).items():
        table.put(where, text)
    table.fill(marks.merged if isinstance(extra, Ods) else _merged(source))
    numbers = [number for number, row in sorted(rows.items()) if any(row) and not "".join(row).isspace()]
    return Sheet(
        source.name,
        shown,
        table.left,
        numbers,
        [rows[number] for number in numbers],
        _within(numbers, marks.hidden),
        sorted((*where, text) for where, text in marks.errors.items()),
        sorted(marks.formulas),
        sorted((*where, *odd, marks.dates.get(where, "")) for where, odd in dates.items()),
        extra is None,
    )


_LENGTH = re.compile(r"PT(?:(\d{1,9})H)?(?:(\d{1,9})M)?(?:(\d{1,9}(?:\.\d{1,9})?)S)?")


def _texts(source: python_calamine.CalamineSheet) -> tuple[dict[int, list[str]], dict[Cell, tuple[str, str]]]:
    """Row numbers with the texts of their cells, and the dates and times among them with their kinds."""
    top, left = source.start or (0, 0)
    texts = _NumberTexts()
    rows: dict[int, list[str]] = {}
    dates: dict[Cell, tuple[str, str]] = {}
    odd: list[Any] = []

    def odd_one(cell: Any) -> str:
        odd.append(cell)
        return odd_text(cell)[1]

    try:
        lines = source.to_python()
    except (OverflowError, ValueError) as error:
        raise damaged(f"a date in the sheet {source.name!r} is beyond all bounds ({error})") from None
    for number, cells in enumerate(lines, top + 1):
        rows[number] = [
            cell if type(cell) is str else texts[cell] if type(cell) is float else odd_one(cell)
            for cell in cells
        ]
        if odd:
            found = (
                (at, odd_text(cell)) for at, cell in enumerate(cells, left) if type(cell) not in (str, float)
            )
            dates.update(((number, at), said) for at, said in found if said[0])
            odd.clear()
    return rows, dates


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
        last = max(self.rows, default=0)
        reached: dict[int, int] = {}
        for (top, left), (bottom, _) in sorted(merged):
            if top > reached.get(left, 0):
                reached[left] = bottom
                text = self.text((top, left))
                for number in range(top + 1, min(bottom, last) + 1) if text else ():
                    if any(self.rows.get(number, ())) and not self.text((number, left)):
                        self.put((number, left), text)


def main() -> None:
    """Answer requests from standard input, on standard output, until there are no more.

    A request is the number of a workbook's bytes (8 bytes, the least significant first), a byte that is 1 where
    hidden sheets are wanted, and the workbook. An answer is the number of its bytes and a marshalled pair: what
    it is, and the sheets, the message for a person, or the trace of a fault in this program.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever started this process ends it
    _bound_memory()
    gc.freeze()
    gc.disable()  # looking for garbage where there is none would take a quarter of the time
    while header := sys.stdin.buffer.read(REQUEST.size):
        size, hidden = REQUEST.unpack(header)
        _bound_time()
        answer = _answer(sys.stdin.buffer.read(size), bool(hidden))
        sys.stdout.buffer.write(ANSWER.pack(len(answer)) + answer)
        sys.stdout.flush()
        gc.collect()


def _answer(data: bytes, hidden: bool) -> bytes:
    try:
        # JSON takes five times as long.
        answer = marshal.dumps(("sheets", [tuple(sheet) for sheet in sheets(data, hidden)]))
        if len(answer) > LARGEST:
            raise ReadError(f"this workbook holds more than {LARGEST:,} bytes of text; no channel list does")
    except ReadError as error:
        return marshal.dumps(("error", error.message))
    except MemoryError:
        return marshal.dumps(("error", TOO_LARGE))
    except BaseException as error:
        if type(error).__name__ == "PanicException":  # of python-calamine, which does not export it
            return marshal.dumps(("error", damaged("its cells cannot be read").message))
        return marshal.dumps(("fault", traceback.format_exc()))
    return answer


def _bound_memory() -> None:
    if sys.platform != "win32":
        import resource

        for kind, most in ((resource.RLIMIT_AS, MEMORY), (resource.RLIMIT_CORE, 0)):
            allowed = resource.getrlimit(kind)[1]
            resource.setrlimit(
                kind, (most if allowed == resource.RLIM_INFINITY else min(most, allowed), allowed)
            )


def _bound_time() -> None:
    if sys.platform != "win32":
        import resource

        allowed = resource.getrlimit(resource.RLIMIT_CPU)[1]
        most = int(time.process_time()) + SECONDS
        resource.setrlimit(
            resource.RLIMIT_CPU, (most if allowed == resource.RLIM_INFINITY else min(most, allowed), allowed)
        )
