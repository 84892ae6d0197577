"""Lists as DataFrames, for people who work in notebooks. Needs pandas, which is imported only when called."""

from __future__ import annotations

import datetime
import numbers
from typing import TYPE_CHECKING, Any

from chanbridge.apart.sheet import number_text
from chanbridge.errors import Location, Problem
from chanbridge.model import ChannelMap
from chanbridge.sheets import columns
from chanbridge.sheets.grid import Grid
from chanbridge.sheets.interpret import interpret
from chanbridge.sheets.ledger import Reading

if TYPE_CHECKING:
    import pandas


def to_frame(whole: ChannelMap, port: str | None = None) -> pandas.DataFrame:
    """The list of a port, or of the map's listed port, as a DataFrame: one row a channel or spare.

    Every cell is text, "" where there is none; columns of the same heading stay beside each other, so
    select by place where a map has such. What a list cannot carry is what `chanbridge.formats.dropped` says
    of CSV. Raises WriteError where the map has no such port.
    """
    import pandas

    listed = port or whole.listed_port()
    columns.check_writable(whole, listed)
    heading, rows = columns.table(whole, listed)
    return pandas.DataFrame(rows, columns=pandas.Index(heading, dtype=object), dtype=object)


def from_frame(frame: pandas.DataFrame, source: str = "DataFrame") -> Reading:
    """Understand a DataFrame as a list of channels; `source` names it in messages, rows count from 1.

    Whole numbers lose their `.0`, missing values are empty, truth values are TRUE and FALSE; a date or time is kept
    in ISO form and reported. An index that has a name, or is more than numbers, is a column; columns that are only
    numbered are taken for a table without its headings, which are then looked for in the rows. Raises ReadError where
    there is no list of channels in it.
    """
    import pandas

    if any(name is not None for name in frame.index.names) or not pandas.api.types.is_integer_dtype(
        frame.index
    ):
        frame = frame.reset_index(allow_duplicates=True)
    heading = [_heading(label) for label in frame.columns]
    problems: list[Problem] = []

    def text(value: Any, row: int, at: int) -> str:
        if isinstance(value, str):
            return value
        if pandas.api.types.is_scalar(value) and pandas.isna(value):
            return ""
        if isinstance(value, (datetime.date, datetime.time, datetime.timedelta)):
            where = Location(source, "", row, heading[at])
            said = f"this cell holds the date or time {_text(value)}, kept as it is"
            problems.append(Problem(where, "date-cell", said))
        return _text(value)

    rows = [
        [text(value, row, at) for at, value in enumerate(cells)]
        for row, cells in enumerate(frame.itertuples(index=False, name=None), 1)
    ]
    grid = Grid.of(source, rows)
    if not all(isinstance(label, int) for label in frame.columns):
        grid.heading = heading
    grid.problems = problems
    return interpret([grid], "frame")


def _heading(label: Any) -> str:
    """A column's label as text; the levels of one that has several are joined, without those left empty."""
    if isinstance(label, tuple):
        return " ".join(part for part in map(_heading, label) if part)
    return "" if label is None or label != label else _text(label)


def _text(value: Any) -> str:
    if hasattr(value, "item"):
        value = value.item()  # numpy's numbers and truth values as Python's
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, numbers.Real) and not isinstance(value, int):
        return number_text(float(value))
    if isinstance(value, datetime.datetime) and not (value.hour or value.minute or value.second):
        return value.date().isoformat()
    return str(value)
