"""Rows of text cells that know where they came from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from chanbridge.errors import Problem
from chanbridge.names import Vocabulary


class Options(NamedTuple):
    """What a user says about how to read a file; what is left empty is found out.

    `encoding` and `delimiter` are for text, `hidden` reads a workbook's hidden sheets and rows too, `record` is the
    path of the element that stands for a channel in XML. `box` is where rows belong that name no box. `columns` are
    pairs of a heading (or "#3" for the third column) and the field that it means. `vocabulary` are the words that
    sheets use.
    """

    encoding: str = ""
    delimiter: str = ""
    hidden: bool = False
    record: str = ""
    box: str = ""
    columns: tuple[tuple[str, str], ...] = ()
    vocabulary: Vocabulary | None = None


@dataclass
class Grid:
    """One table of cells as a file holds it, before anyone asks what it means.

    `rows[i]` are the cells of the file's row `numbers[i]` (from 1, as a person counts them there). `heading` is given
    where a file has headings of its own (XML attributes) and no row for them. `how` says for people how the file was
    cut into cells. `asides` are texts around the table, each with its row. `problems` were met on the way from bytes
    to cells.
    """

    source: str
    rows: list[list[str]]
    numbers: list[int]
    sheet: str = ""
    heading: list[str] | None = None
    how: str = ""
    asides: list[tuple[int, str]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    @classmethod
    def of(cls, source: str, rows: list[list[str]], sheet: str = "") -> Grid:
        """A grid of all rows that have any text, numbered from 1 as they stand."""
        numbers = [
            number
            for number, row in enumerate(rows, 1)
            if row and ((row[0] and not row[0].isspace()) or any(cell.strip() for cell in row))
        ]
        if len(numbers) < len(rows):
            rows = [rows[number - 1] for number in numbers]
        return cls(source, rows, numbers, sheet)
