"""What stands on a paper, as plain data. Renderers know this and nothing of kinds of recipients."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from typing import Literal, NamedTuple

Style = Literal["number", "zero", "name", "label", "text", "small", "mark", "pair", "tick"]
"""How a column looks: a number to find a row by, the second count beside it, a name, a short label, words, small
print, a warning that must be seen, the bracket of a pair, an empty box to tick."""

Bracket = Literal["", "first", "second"]


class Column(NamedTuple):
    """`key` is stable over languages; `heading` is printed."""

    key: str
    heading: str
    style: Style


class Row(NamedTuple):
    """One line. `key` is the same in every revision. `bracket`: where it stands in a pair of neighbouring rows.

    `box` and `group`: what a reader may want to see alone. `careful`: it holds a warning.
    """

    key: str
    cells: tuple[str, ...]
    spare: bool = False
    careful: bool = False
    changed: bool = False
    bracket: Bracket = ""
    box: str = ""
    group: str = ""


class Table(NamedTuple):
    """Rows under columns; every row has a cell for each column. `title` may be ""."""

    title: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


class Notes(NamedTuple):
    """Lines below a heading; `careful` ones stand in a frame."""

    title: str
    lines: tuple[str, ...]
    careful: bool = False


class Picture(NamedTuple):
    """A drawing as SVG, and in words for those who cannot see it. `width` and `height` in units of the drawing."""

    title: str
    svg: str
    words: tuple[str, ...]
    width: float
    height: float


Part = Table | Notes | Picture

PAPERS = {"a4": (210, 297), "letter": (216, 279)}
"""Width and height in mm: ISO 216 A4; US Letter, 8.5 by 11 inches, rounded."""


class Heading(NamedTuple):
    """What stands at the top of every page. `word` and `hash` say which revision this is; both may be ""."""

    show: str
    recipient: str
    revision: str = ""
    word: str = ""
    hash: str = ""
    date: datetime.date | None = None

    def revised(self, word: str) -> str:
        """`Revision B (birch)`, `(birch)` where none was issued, "" where the show has no word; `word` is the one for revision."""
        said = " ".join(part for part in (self.revision, f"({self.word})" if self.word else "") if part)
        return f"{word} {said}" if self.revision else said


class Page(NamedTuple):
    """One paper. `big`: all of it on one page, as large as fits. `ticks`: a reader ticks rows off. `wide`: landscape."""

    heading: Heading
    parts: tuple[Part, ...]
    big: bool = False
    ticks: bool = False
    wide: bool = False

    def tables(self) -> Iterator[Table]:
        """Its tables in order."""
        return (part for part in self.parts if isinstance(part, Table))

    def texts(self) -> Iterator[str]:
        """Every text on it that may come from a user."""
        yield from (self.heading.show, self.heading.recipient, self.heading.revision, self.heading.word)
        for part in self.parts:
            yield part.title
            if isinstance(part, Table):
                yield from (column.heading for column in part.columns)
                for row in part.rows:
                    yield from row.cells
            elif isinstance(part, Notes):
                yield from part.lines
            else:
                yield part.svg

    def told(self, tell: Callable[[str], str]) -> Page:
        """The same paper with every text put through `tell`."""
        heading = self.heading._replace(
            show=tell(self.heading.show),
            recipient=tell(self.heading.recipient),
            revision=tell(self.heading.revision),
            word=tell(self.heading.word),
        )
        return self._replace(heading=heading, parts=tuple(_told(part, tell) for part in self.parts))


def _told(part: Part, tell: Callable[[str], str]) -> Part:
    if isinstance(part, Table):
        columns = tuple(column._replace(heading=tell(column.heading)) for column in part.columns)
        rows = tuple(row._replace(cells=tuple(tell(cell) for cell in row.cells)) for row in part.rows)
        return Table(tell(part.title), columns, rows)
    if isinstance(part, Notes):
        return part._replace(title=tell(part.title), lines=tuple(tell(line) for line in part.lines))
    return part._replace(title=tell(part.title), svg=tell(part.svg))
