"""Where the tables of a grid are; what each of their columns means is decided in `meaning`."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from chanbridge.errors import Location
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import looks, meaning, values
from chanbridge.sheets.columns import HEADINGS, is_own
from chanbridge.sheets.grid import Grid

SAMPLE = 400
"""At most this many rows of a table are looked at to decide what a column means."""


RULE = re.compile(r"\s*([-=_*─━═#~.+|:])(?:[-=_*─━═#~.+|:\s])+\s*")
"""A cell that is a drawn line."""

REMARK = re.compile(
    r"\s*(?:[*†‡]|(?:note|nb|hinweis|anmerkung|remarque|nota|opmerking|page|seite)\b\s*[:.\d])", re.IGNORECASE
)
"""How the first cell of a remark on a table begins."""


SECTION = re.compile(
    r"(?:stage[ -]?box|sub[ -]?box|sub[ -]?snake|box|rack|bühnenbox|boîtier|caja|cassetta|kast)\s*[:#]?\s*(?P<box>\S{1,12})\s*:?",
    re.IGNORECASE,
)
"""A row that names the box to which the rows after it belong."""


class Table(NamedTuple):
    """A run of rows under one heading.

    `fields[i]` is the field that column i fills, or None for an unknown one; `heading[i]` is what stands
    over it. `start` and `stop` are indices into the grid's rows. `own`: a table that chanbridge wrote.
    `doubts` are sentences about columns that could mean something else; `evidence` is the rule and the reason for
    each column. `first` is the grid's column where a table begins that has others beside it.
    """

    heading: list[str]
    fields: list[str | None]
    start: int
    stop: int
    heading_row: int | None
    own: bool
    doubts: list[str]
    evidence: list[tuple[str, str]]
    first: int = 0
    side_by_side: bool = False

    def rows(self, grid: Grid) -> list[list[str]]:
        """The rows of the table, its own columns only."""
        body = grid.rows[self.start : self.stop]
        if not self.side_by_side:
            return body
        return [row[self.first : self.first + len(self.heading)] for row in body]

    def layout(self) -> dict[str, str]:
        """Field → heading."""
        pairs = zip(self.fields, self.heading, strict=True)
        return {field: heading for field, heading in pairs if field}


def tables(grid: Grid, vocabulary: Vocabulary, said: meaning.Said = ()) -> list[Table]:
    """Every table in a grid, in order. Rows before the first and between them belong to none.

    A heading that turns up again word for word does not start a new table. `said`: headings, or "#3" for the third
    column, with the field that the user says they mean; ReadError where a table has two such columns for one field.
    """
    if grid.heading is not None:
        return [_table(grid, grid.heading, 0, len(grid.rows), None, vocabulary, said)]
    starts: list[int] = []
    for at, row in enumerate(grid.rows):
        if starts and row[0].isdigit():
            continue  # the common row: no heading begins with a number
        last = grid.rows[starts[-1]] if starts else None
        if last is not None and (is_own(last) or same_cells(row, last)):
            continue  # in a table of ours only our own heading, seen as a repeat, is one
        if _is_heading(row, vocabulary, said, first=last is None, narrow=len(grid.rows[at : at + 2]) == 2):
            starts.append(at)
    if not starts:
        bare = _without_heading(grid, said)
        return [bare] if bare else []
    found: list[Table] = []
    for start, stop in zip(starts, [*starts[1:], len(grid.rows)], strict=True):
        cells = grid.rows[start]
        parts = _side_by_side(cells, vocabulary)
        found += [
            _table(grid, cells[first:last], start + 1, stop, start, vocabulary, said, first, len(parts) > 1)
            for first, last in parts
        ]
    return found


def _side_by_side(cells: list[str], vocabulary: Vocabulary) -> list[tuple[int, int]]:
    """First and last column of each table in a heading row.

    There are several where an empty heading parts them, or the first heading comes again, and each has a number or a
    socket, and a name.
    """
    whole = [(0, len(cells))]
    if is_own(cells):
        return whole
    folded = [fold(cell) for cell in cells]
    first = next((cell for cell in folded if cell), "")
    again = [at for at, cell in enumerate(folded) if cell == first]
    after_gap = [at for at, cell in enumerate(folded) if cell and (at == 0 or not folded[at - 1])]
    for begins in (again, after_gap):
        parts = list(zip(begins, [*begins[1:], len(cells)], strict=True))
        if len(parts) > 1 and all(_is_list(cells[start:stop], vocabulary) for start, stop in parts):
            return parts
    return whole


def _is_list(cells: list[str], vocabulary: Vocabulary) -> bool:
    """Whether headings are enough for a list of channels: a number or a socket, and a name."""
    may_be = [meaning.heading_fields(cell, vocabulary) for cell in cells if cell.strip()]
    return any({"number", "socket"} & {*fields[:1]} for fields in may_be) and any(
        "name" in fields for fields in may_be
    )


def same_cells(one: list[str], other: list[str]) -> bool:
    """Whether two rows say the same, apart from case and blanks at the ends."""
    if one[:1] != other[:1] and fold(one[0] if one else "") != fold(other[0] if other else ""):
        return False  # tells nearly every row from a heading at once
    return [fold(cell) for cell in one if cell.strip()] == [fold(cell) for cell in other if cell.strip()]


def _is_heading(
    row: list[str], vocabulary: Vocabulary, said: meaning.Said, *, first: bool, narrow: bool
) -> bool:
    if is_own(row):
        return True
    if any(cell.isdigit() and not (first and cell == "48") for cell in map(str.strip, row)):
        return False  # a number stands among headings only as the volts of phantom
    cells = [cell for cell in row if cell.strip()]
    named = {fold(heading) for heading, _ in said if not heading.startswith("#")}
    if first and named and named <= {fold(cell) for cell in cells}:
        return True
    known = [cell for cell in cells if meaning.heading_fields(cell, vocabulary)]
    distinct = len({fold(cell) for cell in known})
    if first and len(cells) == 1:
        return narrow and len(row) == 1 and len(known) == 1
    may_be = {field for cell in known for field in meaning.heading_fields(cell, vocabulary)}
    telling = "name" in may_be and bool(may_be & {"number", "socket"})
    counted = bool({"number", "socket"} & {*meaning.heading_fields(cells[0], vocabulary)}) if cells else False
    if not (telling or counted) and any(cell not in known and looks.is_place(cell) for cell in cells):
        return False  # a channel whose microphone and phantom are words of headings: A9, Bass, DI, 48V
    return distinct >= (2 if first else 3) and (2 * len(known) >= len(cells) or (first and telling))


def _table(
    grid: Grid,
    cells: list[str],
    start: int,
    stop: int,
    heading_row: int | None,
    vocabulary: Vocabulary,
    said: meaning.Said,
    first: int = 0,
    beside: bool = False,
) -> Table:
    body = grid.rows[start:stop]
    if beside:
        body = [row[first : first + len(cells)] for row in body]
    if len(body) < SAMPLE:  # a line drawn under the headings would spoil a short column
        body = [row for row in body if not all(RULE.fullmatch(cell) for cell in row if cell.strip())]
    if heading_row is not None:
        body = [row for row in body if row[:1] != cells[:1] or not same_cells(row, cells)]
    heading = _fitted(cells, body)
    if is_own(heading):
        names = {text: field for field, text in HEADINGS.items()}
        fields: list[str | None] = []
        for at, text in enumerate(heading):
            field = names.get(text)
            last = len(heading) - 1 - heading[::-1].index(text) == at
            fields.append(field if field and (last if field == "id" else field not in fields) else None)
        return Table(
            heading,
            fields,
            start,
            stop,
            heading_row,
            True,
            [],
            [("ours", "we wrote this heading")] * len(fields),
        )
    sample = body[:: max(1, len(body) // SAMPLE)]
    sample = [row for row in sample if not REMARK.match(next(filter(str.strip, row), ""))]
    columns = [
        [row[at].strip() for row in sample if at < len(row) and row[at].strip()] for at in range(len(heading))
    ]
    told = meaning.as_told(heading, said, grid.source)
    chosen, doubts, evidence = meaning.assign(heading, columns, vocabulary, told)
    if {"number", "socket"} & {*chosen} == {"number"} and chosen.index("number") not in told:
        numbers = columns[chosen.index("number")]
        if len({*numbers}) < len(numbers) and _begin_again(grid, heading_row, body, chosen):
            evidence[chosen.index("number")] = (
                "by-values",
                "the numbers begin again in each box, so they count its sockets",
            )
            chosen[chosen.index("number")] = "socket"
    meaning.refuse_alike(
        heading, columns, vocabulary, chosen, told, Location(grid.source, grid.sheet, grid.numbers[start - 1])
    )
    if not {"number", "socket"} & {*chosen}:
        doubts.append("no column was found that numbers the channels or names their sockets")
    named = sum(1 for text in heading if text.strip())
    widest = max(map(len, body), default=named)
    if heading_row is not None and len(body) > 1 and widest < named:
        doubts.append(
            f"the rows have {widest} cells under {named} headings: a column may be left out, "
            "and what follows it stand under the wrong heading"
        )
    return Table(heading, chosen, start, stop, heading_row, False, doubts, evidence, first, beside)


def _begin_again(
    grid: Grid, heading_row: int | None, body: list[list[str]], fields: Sequence[str | None]
) -> bool:
    """Whether numbers begin again in each box, named in its column or by section rows.

    Then none comes twice in one box, and half of a box's numbers or more in one before it: fewer would be slips.
    """
    number_at = fields.index("number")
    box_at = fields.index("box") if "box" in fields else None
    box, boxes = "", dict[str, list[str]]()
    for row in grid.rows[: heading_row or 0]:
        section = SECTION.fullmatch(" ".join(filter(None, map(str.strip, row))))
        box = section["box"] if section else box
    for row in body:
        filled = [cell.strip() for cell in row if cell.strip()]
        section = SECTION.fullmatch(filled[0]) if len(filled) == 1 and box_at is None else None
        if section:
            box = section["box"]
        elif number_at < len(row) and row[number_at].strip():
            named = box if box_at is None else row[box_at] if box_at < len(row) else ""
            boxes.setdefault(fold(named), []).append(row[number_at].strip())
    seen: set[str] = set()
    for name, numbers in boxes.items():
        again = len(seen & {*numbers})
        if not name or len({*numbers}) < len(numbers) or (seen and 2 * again < len(numbers)):
            return False
        seen |= {*numbers}
    return len(boxes) > 1


def _fitted(cells: list[str], body: list[list[str]]) -> list[str]:
    """A heading row as wide as its table: widened where most rows are wider, empty columns at the right cut off."""
    long = (
        [row for row in body if len(row) > len(cells)] if max(map(len, body), default=0) > len(cells) else []
    )
    wider = sorted(len(row) for row in long if any(cell.strip() for cell in row[len(cells) :]))
    heading = list(cells)
    if 2 * len(wider) > len(body):
        heading += [""] * (wider[-1] - len(cells))
    while heading and not heading[-1].strip():
        last = len(heading) - 1
        if any(len(row) > last and row[last].strip() for row in body):
            break
        heading.pop()
    return heading


def _without_heading(grid: Grid, said: meaning.Said) -> Table | None:
    """A table that has no heading row: a column of rising numbers, or of sockets, and one of texts; or None."""
    width = max((len(row) for row in grid.rows), default=0)
    columns = [
        [row[at].strip() for row in grid.rows if at < len(row) and row[at].strip()] for at in range(width)
    ]
    told = {field: at for at, field in meaning.as_told([""] * width, said, grid.source).items()}
    found = looks.by_values(columns, [at for at in range(width) if at not in told.values()]) | told
    if "name" not in found or not {"number", "socket"} & {*found}:
        return None
    fields: list[str | None] = [None] * width
    evidence = [("unknown", "there is no heading row")] * width
    for field, at in found.items():
        fields[at] = field
        evidence[at] = (
            ("said", "you said so") if field in told else ("by-values", f"the values look like a {field}")
        )
    is_one = values.numbers if "number" in found else values.sockets
    counts = found["number"] if "number" in found else found["socket"]
    start = next((at for at, row in enumerate(grid.rows) if counts < len(row) and is_one(row[counts])), 0)
    doubts = [f"there is no heading row; column {found['name'] + 1} is taken for the name by its values"]
    return Table([""] * width, fields, start, len(grid.rows), None, False, doubts, evidence)
