"""Markdown tables: cells between bars, a line of dashes under the headings."""

from __future__ import annotations

import re

from chanbridge.errors import Location, ReadError
from chanbridge.formats import text
from chanbridge.formats.characters import decode, encode
from chanbridge.model import ChannelMap
from chanbridge.sheets import columns
from chanbridge.sheets.grid import Grid, Options

_RULE = re.compile(r"\s*\|?\s*:?-{1,}:?\s*(?:\|\s*:?-{1,}:?\s*)*\|?\s*")


def read(data: bytes, source: str, options: Options) -> list[Grid]:
    """One grid: the tables' rows in cells, every other line as one cell. Raises ReadError where there is no table."""
    decoded = decode(data, source, options.encoding)
    lines = re.split(r"\r\n|\r|\n", decoded.text)
    rules = {at for at, line in enumerate(lines) if "|" in line and _RULE.fullmatch(line)}
    if not rules:
        raise ReadError(
            "no Markdown table was found: no line such as |---|---| under the headings", Location(source)
        )
    rows: list[list[str]] = []
    inside = False
    for at, line in enumerate(lines):
        inside = at + 1 in rules or at in rules or (inside and "|" in line)
        rows.append(_cells(line) if inside else [re.sub(r"^#+\s*", "", line.strip())])
    grid = Grid.of(source, rows)
    grid.problems += decoded.problems
    grid.how = f"{decoded.encoding}, a Markdown table"
    return [grid]


def _cells(line: str) -> list[str]:
    """The cells of a row; `\\|` is a bar inside one."""
    parts = [
        part.replace("\\|", "|").replace("\\\\", "\\").strip()
        for part in re.split(r"(?<!\\)\|", line.strip())
    ]
    if line.strip().startswith("|"):
        parts = parts[1:]
    return parts[:-1] if parts and not parts[-1] else parts


def write(whole: ChannelMap, port: str | None, suffix: str) -> bytes:
    """A title, revision and date, then the port as a table."""
    columns.check_writable(whole, port)
    heading, rows = columns.table(whole, port)
    cells = [[_escaped(cell) for cell in row] for row in (heading, *rows)]
    cells.insert(1, ["---"] * len(heading))
    about = [f"# {text.plain(whole.title)}", ""] if whole.title else []
    said = "   ".join(
        part
        for part in (
            f"Revision {whole.revision}" if whole.revision else "",
            f"Date {whole.date}" if whole.date else "",
        )
        if part
    )
    about += [text.plain(said), ""] if said else []
    return encode("\n".join([*about, *("| " + " | ".join(row) + " |" for row in cells)]) + "\n")


def _escaped(cell: str) -> str:
    return text.plain(cell).replace("\\", "\\\\").replace("|", "\\|")


def dropped(whole: ChannelMap, port: str | None) -> list[str]:
    """What a Markdown table cannot carry of this map."""
    lost = text.dropped(whole, port)
    _, rows = columns.table(whole, port)
    if any(cell != cell.strip() for row in rows for cell in row):
        lost.append("blanks at the beginning of cells")
    return lost
