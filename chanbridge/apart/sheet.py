"""What is known of a workbook's sheet once it has been read, and how much the reading may take."""

from __future__ import annotations

import struct
from typing import NamedTuple

MEMORY = 2 * 1024**3
"""Bytes of memory; 100 000 rows of 14 columns take 0.3 GB."""
SECONDS = 60
"""Time; 100 000 rows of 14 columns take about 2 seconds."""
LARGE = 1024**2
"""Bytes of a workbook after which the process is ended, to give back its memory."""
LARGEST = 256 * 1024**2
"""Bytes of text that may come out."""
REQUEST, ANSWER = struct.Struct("<QB"), struct.Struct("<Q")
"""What goes before the bytes of a request and of an answer."""
TOO_LARGE = (
    f"this workbook is damaged, or needs more than {MEMORY >> 30} GB of memory, which no channel list does"
)


class Sheet(NamedTuple):
    """A sheet as texts.

    `rows[i]` is the spreadsheet's row `numbers[i]`, from its column `left` (from 0) on; rows without text are
    left out, and so is the content of a hidden sheet that was not asked for. `hidden` are the numbers of
    hidden rows. `errors` are (row, column, text), `formulas` without a result (row, column), `dates` (row,
    column, kind, text, what the number format shows): all rows from 1, columns from 0. Kinds are "date", "moment"
    (a date with a time) and "time". `bare`: nothing but values was to be had, so `hidden`, `errors` and
    `formulas` say nothing.
    """

    name: str
    shown: bool
    left: int
    numbers: list[int]
    rows: list[list[str]]
    hidden: list[int]
    errors: list[tuple[int, int, str]]
    formulas: list[tuple[int, int]]
    dates: list[tuple[int, int, str, str, str]]
    bare: bool


def number_text(value: float) -> str:
    """A number as it was typed: `16` for 16.0, `2.5`; the 15 digits that a spreadsheet keeps."""
    if value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return f"{value:.15g}"
