"""Tables in plain text: fixed columns under a dashed rule, to print or to read on a dark stage."""

from __future__ import annotations

import re
import unicodedata

from chanbridge.errors import Location, ReadError
from chanbridge.formats.delimited import decode, encode
from chanbridge.model import ChannelMap
from chanbridge.names import vocabulary
from chanbridge.sheets import columns, values
from chanbridge.sheets.grid import Grid, Options

_RULE = re.compile(r"\s*-{2,}(?:\s+-{2,})+\s*|\s*-(?:-*\s+-+)+-\s*")


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid: rows are lines, cut where the dashed rule under the headings has its gaps.

    Raises ReadError for a text without such a rule.
    """
    text = decode(data, source)
    lines = re.split(r"\r\n|\r|\n", text)
    rules = [at for at, line in enumerate(lines) if _RULE.fullmatch(line)]
    if not rules:
        raise ReadError(
            "no table was found: no line of dashes under the headings (--- -----); save it as CSV, or draw the line",
            Location(source),
        )
    rows = [[line.rstrip()] for line in lines[: max(0, rules[0] - 1)]]
    for at, following in zip(rules, [*rules[1:], len(lines) + 1], strict=True):
        starts = [found.start() for found in re.finditer(r"-+", lines[at])]
        rows += [_cut(line, [0, *starts[1:]]) for line in lines[max(0, at - 1) : following - 1]]
    return [Grid.of(source, rows)]


def _cut(line: str, starts: list[int]) -> list[str]:
    """Cells between columns of the screen; a letter that is two wide counts as two.

    A line that does not keep to the columns is one cell: a remark, or a row that nobody can be sure of.
    """
    cells = [""] * len(starts)
    column, cell, before = 0, 0, " "
    for letter in line:
        while cell + 1 < len(starts) and column >= starts[cell + 1]:
            cell += 1
            if before != " " and letter != " ":
                return [line.rstrip()]
        cells[cell] += letter
        column += width(letter)
        before = letter
    return [cell.rstrip() for cell in cells]


def width(text: str) -> int:
    """Columns that a text takes on a screen of fixed width."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(letter) else 2 if unicodedata.east_asian_width(letter) in "WF" else 1
        for letter in text
    )


def pad(text: str, columns: int) -> str:
    """A text with blanks up to a width on the screen."""
    return text + " " * (columns - width(text))


def plain(text: str) -> str:
    """A text on one line: control characters and line breaks become blanks."""
    return "".join(
        " " if unicodedata.category(letter) in ("Cc", "Zl", "Zp") else letter for letter in text
    ).rstrip()


def draw(heading: list[str], rows: list[list[str]]) -> list[str]:
    """Lines of a table: heading, dashed rule, rows; two blanks between columns."""
    cells = [[plain(cell) for cell in row] for row in (heading, *rows)]
    widths = [max(2, *(width(row[at]) for row in cells)) for at in range(len(heading))]
    cells.insert(1, ["-" * wide for wide in widths])
    return [
        "  ".join(pad(cell, wide) for cell, wide in zip(row, widths, strict=True)).rstrip() for row in cells
    ]


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """A heading with title, revision and date, then the port as a table."""
    columns.check_writable(whole, port)
    words = vocabulary()
    heading, rows = columns.table(whole, port, lambda text: values.is_nothing(text, words))
    revision = f"Revision {whole.revision}" if whole.revision else ""
    date = f"Date {whole.date}" if whole.date else ""
    about = [
        plain(line) for line in (whole.title, "   ".join(part for part in (revision, date) if part)) if line
    ]
    return encode("\n".join([*about, *([""] if about else []), *draw(heading, rows)]) + "\n")


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a printed table cannot carry of this map."""
    lost = [text for text in columns.dropped(whole, port) if text not in ("title", "revision", "date")]
    words = vocabulary()
    heading, rows = columns.table(whole, port, lambda text: values.is_nothing(text, words))
    if any(cell != plain(cell) for row in (heading, *rows) for cell in row):
        lost.append("line breaks, control characters and blanks at the ends of cells")
    return lost
