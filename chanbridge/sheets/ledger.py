"""What became of every row, and what a file was understood to say."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from chanbridge.errors import Location, Problem
from chanbridge.model import ChannelMap

Verdict = Literal["channel", "spare", "heading", "title", "note", "total", "rule", "repeat", "rejected"]


class LedgerRow(NamedTuple):
    """One row of a file: `row` counts from 1 as in the file, `text` is the row as it stood."""

    row: int
    sheet: str
    verdict: Verdict
    text: str
    reason: str = ""


class Evidence(NamedTuple):
    """Why a column was given its meaning: `field` is "" for one that is kept as it is, `rule` names the reason."""

    sheet: str
    heading: str
    field: str
    rule: str
    why: str


@dataclass(frozen=True)
class Reading:
    """A file as it was understood.

    `layout`: field → the heading it was read from. `origins`: channel id → the place it came from; it is
    kept here and not in the map, so that equal content gives equal maps. `how`: how the file was cut into cells;
    `evidence`: why each column means what it was taken for.
    """

    source: str
    format: str
    map: ChannelMap
    ledger: tuple[LedgerRow, ...]
    layout: Mapping[str, str] = field(default_factory=dict)
    origins: Mapping[str, Location] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    how: tuple[str, ...] = ()
    evidence: tuple[Evidence, ...] = ()

    def verdicts(self) -> dict[str, int]:
        """Verdict → number of rows; the numbers add up to the rows read."""
        return dict(Counter(row.verdict for row in self.ledger))

    def rejected(self) -> tuple[LedgerRow, ...]:
        """The rows that could not be understood."""
        return tuple(row for row in self.ledger if row.verdict == "rejected")
