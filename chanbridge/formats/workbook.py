"""Workbooks: XLSX, XLS and ODS read; XLSX written, one port as a sheet to sort, filter and print."""

from __future__ import annotations

import datetime
import io
import itertools
import re
import zipfile
from collections.abc import Iterator
from typing import Any
from xml.sax.saxutils import escape

from chanbridge.apart import process
from chanbridge.apart.sheet import Sheet
from chanbridge.errors import Location, Problem, ReadError, WriteError
from chanbridge.formats.characters import NOT_XML
from chanbridge.formats.text import plain, width
from chanbridge.model import ChannelMap
from chanbridge.sheets import columns
from chanbridge.sheets.grid import Grid, Options

_AS_TEXT = "set the column's format to text and type it again"


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid for each sheet with any text, rows numbered as the spreadsheet shows them.

    Hidden sheets and rows are left out, or read where `options.hidden` asks for them, and reported either way.
    A cell merged over several rows counts in each of them that says anything else. What a spreadsheet made of
    an entry (a date, a time, an error) is reported with its row and column letter. Raises ReadError for a file
    that is no workbook, is encrypted, damaged or too large.
    """
    sheets = process.sheets(data, source, options.hidden)
    grids = [_grid(sheet, source, options) for sheet in sheets if sheet.rows]
    hidden = [repr(sheet.name) for sheet in sheets if not sheet.shown]
    left_out = (
        f"the hidden sheets {', '.join(hidden)} are not read; unhide them, or ask for hidden sheets"
        if hidden and not options.hidden
        else ""
    )
    if not any(grid.rows for grid in grids):
        raise ReadError(
            "no sheet of this workbook holds any text" + (f" ({left_out})" if left_out else ""),
            Location(source),
        )
    if left_out:
        grids[0].problems.append(Problem(Location(source), "hidden", left_out))
    if any(sheet.bare for sheet in sheets):
        message = (
            "an XLS workbook does not show here which rows are hidden (all are read) and which cells hold errors "
            "or formulas without a result (read as empty); save it as XLSX if it may have any"
        )
        grids[0].problems.append(Problem(Location(source), "xls", message))
    return grids


def _grid(sheet: Sheet, source: str, options: Options) -> Grid:
    left_out = set() if options.hidden else set(sheet.hidden)
    kept = [at for at, number in enumerate(sheet.numbers) if number not in left_out]
    grid = Grid(
        source,
        [sheet.rows[at] for at in kept],
        [sheet.numbers[at] for at in kept],
        sheet.name,
        how=f"the sheet {sheet.name!r}",
    )
    found = [*_dates(sheet, grid), *_errors(sheet), *_formulas(sheet)]
    found = [item for item in found if item[0] not in left_out]
    found.sort(key=lambda item: item[:2])
    if sheet.hidden:
        told = _runs(sheet.hidden)
        done = "read" if options.hidden else "left out; unhide them, or ask for hidden rows"
        found.insert(0, (sheet.hidden[0], -1, "hidden", f"rows {told} are hidden and {done}"))
    if not sheet.shown:
        grid.problems.append(Problem(Location(source, sheet.name), "hidden", "this sheet is hidden and read"))
    grid.problems += [
        Problem(Location(source, sheet.name, row, letters(at) if at >= 0 else ""), code, message)
        for row, at, code, message in found
    ]
    return grid


_Found = tuple[int, int, str, str]
"""Row, column from 0 (-1 for the whole row), code and message of a problem."""


def letters(at: int) -> str:
    """The letters over a column, counted from 0: A, B, … Z, AA."""
    text = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def _runs(numbers: list[int]) -> str:
    """`3, 5-8, 12`; of many only the first twenty runs."""
    runs: list[tuple[int, int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    told = [str(first) if first == last else f"{first}-{last}" for first, last in runs[:20]]
    return ", ".join(told) + (f" and {len(runs) - 20} more runs" if len(runs) > 20 else "")


# What a spreadsheet made of an entry


def typed(kind: str, text: str, shown: str) -> str:
    """The one range that gives this date where it is typed, or "" where more can.

    Spreadsheets show a date made of `1-2` or `9-16` as day and month, and one made of `1-48` as month and year
    (common practice). Of the two orders of day and month only one counts up, as a range does. `text` is an ISO
    date, `shown` what the number format shows among d, m, y and h.
    """
    if kind == "date":
        year, month, day = map(int, text.split("-"))
        if shown == "dm":
            return f"{min(day, month)}-{max(day, month)}"
        if shown == "my" and day == 1 and 1930 <= year < 2030 and year % 100 > 12:
            return f"{month}-{year % 100}"
    return ""


def _dates(sheet: Sheet, grid: Grid) -> Iterator[_Found]:
    """Report dates and times, and put the range in the place of a date that can only come from one.

    Those above the table are taken for the sheet's own and need no report.
    """
    if not sheet.dates:
        return
    rows = dict(zip(grid.numbers, grid.rows, strict=True))
    filled = {number: sum(map(bool, row)) for number, row in rows.items()}
    widest = max(filled.values(), default=0)
    top = next((number for number, cells in filled.items() if 2 * cells > widest), 0)
    for number, at, kind, text, shown in sheet.dates:
        if number not in rows or number < top:
            continue
        entry = typed(kind, text, shown)
        if entry:
            rows[number][at - sheet.left] = entry
            message = f"a spreadsheet made the date {text} of what was typed here; it is read as {entry!r}: {_AS_TEXT}"
        elif kind == "time":
            message = (
                f"this cell holds the time {text}, kept as it is; if something else was typed, {_AS_TEXT}"
            )
        else:
            _, month, day = map(int, text[:10].split("-"))
            likely = f"{min(day, month)}-{max(day, month)}"
            message = f"this cell holds the date {text}, kept as it is; if {likely} or the like was typed, {_AS_TEXT}"
        yield number, at, "date-cell", message


def _errors(sheet: Sheet) -> Iterator[_Found]:
    for number, at, text in sheet.errors:
        yield number, at, "cell-error", f"the formula here gives {text!r}, kept as text; mend the formula"


def _formulas(sheet: Sheet) -> Iterator[_Found]:
    """Formulas without a result, one report for each run of them down a column."""
    cells = sorted((at, number) for number, at in sheet.formulas)
    for _, run in itertools.groupby(enumerate(cells), key=lambda item: (item[1][0], item[1][1] - item[0])):
        (_, (at, first)), *others = run
        last = others[-1][1][1] if others else first
        which = f"formulas down to row {last} have" if others else "formula here has"
        yield (
            first,
            at,
            "formula",
            f"the {which} no stored result and read as empty; "
            "open the workbook in a spreadsheet, let it calculate, and save it",
        )


# Writing

ROWS, WIDTH, LONGEST_CELL = 1_048_576, 16_384, 32_767
"""What a sheet of XLSX holds: rows, columns, UTF-16 units in a cell."""

_NUMBERS = (columns.FIRST.index("Slot"), columns.FIRST.index("Socket"))
_LIKE_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}[_\r])")
_TEXTS = "xl/sharedStrings.xml"
_LONG_AGO = (1980, 1, 1, 0, 0, 0)


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """The list of a port as XLSX: a heading that stays in view, a filter, set up to print on A4 across.

    Every cell is text, so that `007` or `1-2` stays what it is; slot and socket are numbers, to sort by. Raises
    WriteError for another ending than .xlsx, and for what a sheet cannot hold: a control character, a cell of more
    than 32 767 characters, more than 1 048 576 rows or 16 384 columns.
    """
    if suffix not in ("", ".xlsx"):
        raise WriteError(f"workbooks are written as XLSX, not as {suffix}; give it the ending .xlsx")
    columns.check_writable(whole, port)
    heading, rows = columns.table(whole, port)
    _check(whole, heading, rows)
    return _with_texts(*_laid_out(whole, port, heading, rows))


def _check(whole: ChannelMap, heading: list[str], rows: list[list[str]]) -> None:
    if len(rows) >= ROWS or len(heading) > WIDTH:
        raise WriteError(
            f"a sheet of XLSX holds {ROWS:,} rows and {WIDTH:,} columns, and this list has {len(rows) + 1:,} and "
            f"{len(heading):,}; write it as CSV"
        )
    for text in itertools.chain((whole.title, whole.revision), *(heading, *rows)):
        wrong = NOT_XML.search(text)
        if wrong:
            raise WriteError(
                f"XLSX cannot hold the character U+{ord(wrong[0]):04X}, which stands in {text[:60]!r}; take it out"
            )
        if len(text) > LONGEST_CELL // 2 and len(text.encode("utf-16-le")) > 2 * LONGEST_CELL:
            raise WriteError(
                f"a cell of XLSX holds {LONGEST_CELL:,} characters, and {text[:40]!r}… has {len(text):,}; "
                "shorten it, or write CSV"
            )


def _laid_out(
    whole: ChannelMap, port: str | None, heading: list[str], rows: list[list[str]]
) -> tuple[bytes, list[str]]:
    """The workbook with the numbers of its texts in their places, and the texts."""
    import xlsxwriter

    texts: dict[str, int] = {}
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    made = whole.date or datetime.date(*_LONG_AGO[:3])
    book.set_properties({"title": whole.title, "created": datetime.datetime.combine(made, datetime.time())})
    sheet = book.add_worksheet(sheet_name(port))
    common = {"valign": "top", "text_wrap": True, "bottom": 1}
    cell = book.add_format({**common, "num_format": "@"})
    number = book.add_format(common)
    bold = book.add_format({**common, "num_format": "@", "bold": True, "bottom": 2})
    for at in range(len(heading)):
        longest = max(width(line) for row in (heading, *rows) for line in row[at].split("\n"))
        sheet.set_column(at, at, min(40, max(4, longest + 2)), None if at in _NUMBERS else cell)
    for row, line in enumerate((heading, *rows)):
        style = cell if row else bold
        for at, text in enumerate(line):
            if row and at in _NUMBERS and text.isdecimal() and len(text) < 16:
                sheet.write_number(row, at, int(text), number)
            elif text:
                sheet.write_string(row, at, str(texts.setdefault(text, len(texts))), style)
            else:
                sheet.write_blank(row, at, None, number if at in _NUMBERS else style)
    sheet.freeze_panes(1, 0)
    sheet.autofilter(0, 0, len(rows), len(heading) - 1)
    sheet.ignore_errors({"number_stored_as_text": f"A1:{letters(len(heading) - 1)}{len(rows) + 1}"})
    _set_up_print(sheet, whole)
    book.close()
    return out.getvalue(), list(texts)


def sheet_name(port: str | None) -> str:
    """A port's id as the name of a sheet: at most 31 characters, none of `[]:*?/\\`, no apostrophe at its ends."""
    text = plain(re.sub(r"[\[\]:*?/\\]", "-", NOT_XML.sub("-", port or "")))
    while len(text.encode("utf-16-le")) > 2 * 31:
        text = text[:-1]
    text = text.strip("' ")
    return f"{text} -" if text.lower() == "history" else text or "Channels"  # "History" is reserved


def _set_up_print(sheet: Any, whole: ChannelMap) -> None:
    sheet.set_paper(9)  # A4
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(0)
    about = [plain(whole.title)[:80]]
    about += [f"Revision {plain(whole.revision)[:10]}"] if whole.revision else []
    about += [str(whole.date)] if whole.date else []
    left = "   ".join(part for part in about if part).replace("&", "&&")
    sheet.set_footer(f"&L{left.replace('&&G', '&& G')}&RPage &P of &N")  # xlsxwriter takes &G for a picture


def _with_texts(book: bytes, texts: list[str]) -> bytes:
    """A workbook with these texts for the numbers that stand in their places, and without times.

    xlsxwriter would lose names such as `_x0041_x0042_` and `<r></r>`. In XLSX `_x0041_` stands for A, so an
    underscore that looks like the start of such an escape is written as one itself, and so is a carriage
    return: ECMA-376, part 1, clause 22.9.2.19 (from memory).
    """
    items = "".join(
        f'<si><t xml:space="preserve">{_LIKE_ESCAPE.sub("_x005F_", escape(text)).replace(chr(13), "_x000D_")}</t></si>'
        for text in texts
    )
    table = (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
        f'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" uniqueCount="{len(texts)}">{items}</sst>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as made, zipfile.ZipFile(out, "w") as whole:
        for member in made.infolist():
            content = table.encode() if member.filename == _TEXTS else made.read(member)
            entry = zipfile.ZipInfo(member.filename, _LONG_AGO)
            whole.writestr(entry, content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a list in a workbook cannot carry of this map."""
    return columns.dropped(whole, port)
