"""Tables in plain text: fixed columns under a dashed rule, to print or to read on a dark stage."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from itertools import pairwise

from chanbridge.errors import Location, ReadError
from chanbridge.formats import delimited
from chanbridge.formats.characters import decode, encode
from chanbridge.model import ChannelMap
from chanbridge.names import vocabulary
from chanbridge.sheets import columns, looks, values
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.meaning import heading_fields


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid; its rows are the file's lines.

    Cut where the dashed rules under the headings have their gaps, or at tabs and other delimiters, or where the
    words of a heading line begin, or after the number that each line begins with. Raises ReadError for a text with
    none of these.
    """
    decoded = decode(data, source, options.encoding)
    lines = re.split(r"\r\n|\r|\n", decoded.text)
    if options.delimiter:
        return [delimited.grid_of(decoded, source, options)]
    for how, cut in (
        ("columns as the dashed rule draws them", _by_rules),
        ("cells parted by tabs or the like", None),
        ("columns where the headings begin", _by_heading),
        ("a number before each line", _by_numbers),
    ):
        if cut is None:
            if _is_delimited(lines):
                return [delimited.grid_of(decoded, source, options)]
            continue
        rows = cut(lines)
        if rows:
            grid = Grid.of(source, rows)
            grid.problems += decoded.problems
            grid.how = f"{decoded.encoding}, {how}"
            return [grid]
    raise ReadError(
        "no table was found: no line of dashes under the headings (--- -----), no headings in columns, no numbered "
        "lines; save it as CSV, or draw the line",
        Location(source),
    )


def _is_delimited(lines: list[str]) -> bool:
    """Whether lines are CSV under another name: a heading line that a delimiter cuts into words of ours."""
    words = vocabulary()
    heads = [line for line in lines if line.strip()][:10]
    return any(
        sum(bool(heading_fields(cell, words)) for cell in line.split(mark)) > 1
        for line in heads
        for mark in "\t;,|"
    )


def _is_rule(line: str) -> bool:
    """Whether a line is dashes with gaps, one of them at least two dashes long."""
    return "--" in line and len(line.split()) > 1 and set(line) <= {"-", " ", "\t"}


def _by_rules(lines: list[str]) -> list[list[str]]:
    rules = [at for at, line in enumerate(lines) if _is_rule(line)]
    rows = [[line.rstrip()] for line in lines[: max(0, rules[0] - 1)]] if rules else []
    for at, following in zip(rules, [*rules[1:], len(lines) + 1], strict=False):
        starts = [found.start() for found in re.finditer(r"-+", lines[at])]
        rows += [_cut(line, [0, *starts[1:]]) for line in lines[max(0, at - 1) : following - 1]]
    return rows


def _by_heading(lines: list[str]) -> list[list[str]]:
    """Cut where the words of the first heading line begin, which stand at least two blanks apart."""
    words = vocabulary()
    for at, line in enumerate(lines):
        found = list(re.finditer(r"\S+(?: \S+)*", line))
        if _NUMBERED.fullmatch(line) or (found and looks.is_place(found[0][0])):
            continue  # a channel: its microphone and phantom may be words of headings
        if len(found) > 1 and sum(bool(heading_fields(part[0], words)) for part in found) > 1:
            starts = [0, *(part.start() for part in found[1:])]
            return [[one.rstrip()] for one in lines[:at]] + [_cut(one, starts) for one in lines[at:]]
    return []


def _by_numbers(lines: list[str]) -> list[list[str]]:
    """Lines such as `7 Gtr - left` or `7. Gtr`, or a number on a line and its name on the next."""
    filled = [line for line in lines if line.strip()]
    alone = [line for line in filled if re.fullmatch(r"\s*\d{1,4}[.):]?\s*", line)]
    numbered = [line for line in filled if _NUMBERED.fullmatch(line)]
    if len(alone) > 2 and len(numbered) - len(alone) <= len(filled) // 4:
        return _names_below(lines)
    if len(numbered) < 2 or len(numbered) < 0.5 * len(filled):
        return []
    begins = Counter(at for line in numbered for at in _gaps(line))
    with_gaps = sum(1 for line in numbered if _gaps(line))
    in_line = {at for at, times in begins.items() if times > 2 and 4 * times > with_gaps}
    rows = []
    for line in lines:
        found = _NUMBERED.fullmatch(line)
        if not found:
            rows.append([line.rstrip()])
            continue
        cuts = [found.start("name"), *(gap for at, gap in _gaps(line).items() if at in in_line), len(line)]
        cells = [line[one:other] for one, other in pairwise(cuts)] if found["name"] else [""]
        rows.append([found["number"], *(cell.strip() for part in cells for cell in part.split("\t"))])
    return rows


def _gaps(line: str) -> dict[int, int]:
    """Column of the screen → place in a numbered line, where something begins after two blanks or more in its name."""
    found = _NUMBERED.fullmatch(line) if len(line) <= values.LONGEST else None
    if not found or not found["name"]:
        return {}
    gaps = re.finditer(r"(?<=\S) {2,}(?=\S)", line)
    return {width(line[: gap.end()]): gap.end() for gap in gaps if gap.start() > found.start("name")}


_NUMBERED = re.compile(r"\s*(?P<number>\d{1,4})(?:[.):]\s*|\s+|\s*$)(?P<name>\S.*?)?\s*")


def _names_below(lines: list[str]) -> list[list[str]]:
    """A number's line and the name's line below it as one row each; the row of the name carries both."""
    rows: list[list[str]] = []
    waiting = ""
    for line in lines:
        number = re.fullmatch(r"\s*(\d{1,4})[.):]?\s*", line)
        rows.append(["", line.strip()])
        if number:
            waiting = number[1]
            rows[-1] = [waiting, ""]
        elif (waiting and line.strip()) or not line.strip():
            waiting = ""
    return rows


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
    heading, rows = columns.table(whole, port)
    revision = f"Revision {whole.revision}" if whole.revision else ""
    date = f"Date {whole.date}" if whole.date else ""
    about = [
        plain(line) for line in (whole.title, "   ".join(part for part in (revision, date) if part)) if line
    ]
    return encode("\n".join([*about, *([""] if about else []), *draw(heading, rows)]) + "\n")


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a printed table cannot carry of this map."""
    lost = [text for text in columns.dropped(whole, port) if text not in ("title", "revision", "date")]
    heading, rows = columns.table(whole, port)
    if any(cell != plain(cell) for row in (heading, *rows) for cell in row):
        lost.append("line breaks, control characters and blanks at the ends of cells")
    return lost
