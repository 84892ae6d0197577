"""Lines for a screen or a page of 80 columns, and CSV."""

from __future__ import annotations

import csv
import io
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

COLUMNS = 80
"""Characters in a line."""


def plain(text: str) -> str:
    """A text on one line: control characters and line breaks become blanks."""
    return " ".join(
        "".join(" " if unicodedata.category(letter)[0] in "CZ" else letter for letter in text).split()
    )


def wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """A text in lines of at most COLUMNS; `first` stands before the first, `rest` before the others."""
    return textwrap.wrap(
        plain(text), COLUMNS, initial_indent=first, subsequent_indent=first if rest is None else rest,
        break_on_hyphens=False,
    )  # fmt: skip


def table(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Heading, dashed rule, rows, two blanks between columns; what is too wide goes on below in the last column.

    Only the last column gives way, so the others have to leave it room.
    """
    cells = [[plain(cell) for cell in row] for row in (heading, *rows)]
    last = len(heading) - 1
    widths = [max(2, *(len(row[at]) for row in cells)) for at in range(last)]
    room = max(12, COLUMNS - sum(widths) - 2 * last)
    wide = min(room, max(2, *(len(row[last]) for row in cells)))
    lines = []
    for number, row in enumerate(cells):
        parts = textwrap.wrap(row[last], room, break_on_hyphens=False) or [""]
        for at, part in enumerate(parts):
            shown = row[:last] if at == 0 else [""] * last
            lines.append(
                "  ".join(
                    [*(cell.ljust(width) for cell, width in zip(shown, widths, strict=True)), part]
                ).rstrip()
            )
        if number == 0:
            lines.append("  ".join("-" * width for width in (*widths, wide)))
    return lines


def csv_bytes(heading: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    """CSV as RFC 4180 section 2 has it, in UTF-8; a cell that a spreadsheet would run gets an apostrophe before it."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    for row in (heading, *rows):
        writer.writerow(
            ["'" + cell if re.match(r"'?[=+@\t\r-]", cell) and not _is_number(cell) else cell for cell in row]
        )
    return out.getvalue().encode("utf-8", "backslashreplace")


def _is_number(text: str) -> bool:
    return bool(re.fullmatch(r"[+-]?\d+(\.\d+)?", text))


def ranges(numbers: Iterable[int]) -> str:
    """`1-3, 7`: numbers in order, those that follow each other drawn together."""
    runs: list[list[int]] = []
    for number in sorted({*numbers}):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def joined(names: Sequence[str]) -> str:
    """`A`, `A and B`, `A, B and C`."""
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
