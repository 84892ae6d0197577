"""CSV and its kin: comma, semicolon or tab; written after RFC 4180."""

from __future__ import annotations

import contextlib
import csv
import io
import re
from collections import Counter
from typing import TYPE_CHECKING

from chanbridge.errors import Location, Problem, ReadError
from chanbridge.files import LARGEST
from chanbridge.formats.characters import Decoded, decode, encode
from chanbridge.model import ChannelMap
from chanbridge.names import vocabulary
from chanbridge.sheets import columns
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.meaning import heading_fields

if TYPE_CHECKING:
    import _csv

DELIMITERS = ",;\t|"

csv.field_size_limit(LARGEST)  # a setting of the whole process; a file is never larger


NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid of the file's records. Rows are counted as records, as a spreadsheet shows them."""
    decoded = decode(data, source, options.encoding)
    return [grid_of(decoded, source, options)]


def grid_of(decoded: Decoded, source: str, options: Options) -> Grid:
    """Text in cells, by the delimiter that the user says or that cuts it best."""
    text = decoded.text
    delimiter = options.delimiter or guess_delimiter(text, source)
    if len(delimiter) != 1 or delimiter in '"\r\n':
        raise ReadError(
            f"{delimiter!r} cannot be a delimiter; say one character, such as --delimiter ';'",
            Location(source),
        )
    rows = records(text, delimiter, source)
    if delimiter == "|":
        rows = _without_padding(rows)
    if "'" in text:
        _take_guards_off(rows)
    grid = Grid.of(source, rows)
    grid.problems += [*decoded.problems, *_stray_quotes(text, delimiter, source)]
    grid.how = f"{decoded.encoding}, cells parted by {NAMES.get(delimiter, repr(delimiter))}"
    return grid


def _without_padding(rows: list[list[str]]) -> list[list[str]]:
    """Cells without the blanks that belong to the bars, where every bar has them."""
    inner = [cell for row in rows if len(row) > 1 for cell in row[1:] if cell]
    if sum(cell.startswith(" ") for cell in inner) < 0.8 * len(inner):
        return rows
    return [[cell.strip() for cell in row] for row in rows]


def records(text: str, delimiter: str, source: str) -> list[list[str]]:
    """The records of a text after RFC 4180, section 2. Raises ReadError where a quote never closes."""
    try:
        return list(_reader(text, delimiter))
    except csv.Error as error:
        what = str(error)
    reader, opened = _reader(text, delimiter), 1
    with contextlib.suppress(csv.Error):  # once more, for the line
        for _ in reader:
            opened = reader.line_num + 1
    line = reader.line_num
    if "unexpected end" in what:
        what, line = (
            "a quote opens in this line and never closes; close it, or write it twice inside a quoted cell",
            opened,
        )
    elif "expected after" in what:
        what = "text follows a closing quote in this line; write a quote inside a quoted cell twice"
    else:
        what = f"this line is not CSV: {what}"
    raise ReadError(what, Location(source, "", line))


_RUN = "=@+-\t\r＝＠＋－"
_RUNS = re.compile(rf"'*[{re.escape(_RUN)}]")
_GUARDED = re.compile(rf"'+[{re.escape(_RUN)}]")
_HARMLESS = re.compile(r"[+-]?\d+(?:[.,]\d+)?(?: ?dB)?|-+", re.IGNORECASE)


def _guard(cell: str) -> str:
    """A cell that a spreadsheet would run as a formula, with an apostrophe before it; `+4`, `-18` and `-` stay."""
    return f"'{cell}" if _RUNS.match(cell) and not _HARMLESS.fullmatch(cell) else cell


def _take_guards_off(rows: list[list[str]]) -> None:
    """Take the apostrophes of `_guard` off again, from a heading row of ours on."""
    ours = next((at for at, row in enumerate(rows) if columns.is_own(row)), None)
    if ours is None:
        return
    for row in rows[ours:]:
        if any(cell[:1] == "'" for cell in row):
            row[:] = [cell[1:] if _GUARDED.match(cell) else cell for cell in row]


def _reader(text: str, delimiter: str) -> _csv.Reader:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)


def _stray_quotes(text: str, delimiter: str, source: str) -> list[Problem]:
    """A remark where quotes stand in cells that are not quoted: RFC 4180 does not have them, sheets do."""
    if '"' not in text:
        return []
    edge = f"{re.escape(delimiter)}\r\n"
    bare = re.sub(
        rf'(?<![^{edge}])"(?:[^"]|"")*+"', lambda quoted: "\n" * len(quoted[0].splitlines()[1:]), text
    )
    lines = [number for number, line in enumerate(bare.splitlines(), 1) if '"' in line]
    if not lines:
        return []
    more = f" and {len(lines) - 1} more" if len(lines) > 1 else ""
    message = (
        f"in line {lines[0]}{more} a quote stands inside a cell that is not quoted; it is kept as it stands"
    )
    return [Problem(Location(source), "stray-quote", message)]


def guess_delimiter(text: str, source: str = "") -> str:
    """The delimiter that cuts the first lines into the same number of cells most often; comma if none does.

    Raises ReadError where one part of the lines says one delimiter and the rest another.
    """
    for mark in DELIMITERS:
        if text.startswith(mark.join(columns.FIRST)):
            return mark  # our own heading row
    head = re.sub(r'"(?:[^"]|"")*+"', "", text[:65536])
    sample = [line for line in re.split(r"\r\n|\r|\n", head) if line.strip()][:50]
    words = vocabulary()

    def known(mark: str) -> int:
        return max(
            (sum(bool(heading_fields(cell, words)) for cell in line.split(mark)) for line in sample),
            default=0,
        )

    def steadiness(mark: str) -> tuple[int, int, int]:
        counts = Counter(line.count(mark) for line in sample)
        counts.pop(0, None)
        times = max(counts.values(), default=0)
        return times, max((count for count in counts if counts[count] == times), default=0), known(mark)

    ranked = sorted(DELIMITERS, key=lambda mark: (*steadiness(mark), -DELIMITERS.index(mark)), reverse=True)
    best, second = ranked[0], ranked[1]
    if known(best) > 1 < known(second) and all(
        0.3 * len(sample) <= sum(mark in line and other not in line for line in sample)
        for mark, other in ((best, second), (second, best))
    ):
        raise ReadError(
            f"some lines are parted by {NAMES[best]}s and others by {NAMES[second]}s; mend them, or say --delimiter",
            Location(source),
        )
    return best


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """The list of a port as CSV after RFC 4180, in UTF-8: CRLF, quotes where needed; tabs for .tsv.

    A cell that a spreadsheet would run as a formula gets an apostrophe before it, which reading takes off again.
    Raises WriteError for a character that no text file can hold.
    """
    columns.check_writable(whole, port)
    heading, rows = columns.table(whole, port)
    mark = "\t" if suffix == ".tsv" else ","
    text = _text([heading, *rows], mark)
    may_run = [first for first in _RUN if first in text]
    if any(before + first in text for first in may_run for before in "\n\",\t'" if before != first):
        text = _text([[_guard(cell) for cell in row] for row in (heading, *rows)], mark)
    return encode(text)


def _text(rows: list[list[str]], delimiter: str) -> str:
    text = "\r\n".join(map(delimiter.join, rows)) + "\r\n"
    signs = {delimiter: len(rows) * (len(rows[0]) - 1), "\r": len(rows), "\n": len(rows), '"': 0}
    if all(text.count(sign) == times for sign, times in signs.items()):
        return text  # no cell needs a quote
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    return out.getvalue()


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a plain list cannot carry of this map."""
    return columns.dropped(whole, port)
