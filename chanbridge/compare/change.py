"""One difference between two lists."""

from __future__ import annotations

from typing import Literal, NamedTuple

from chanbridge.model import Line

Kind = Literal[
    "missing", "block-missing", "cut-off", "doubled",
    "pair", "swap", "shift", "resourced", "moved",
    "phantom", "polarity", "gain-owner", "audience",
    "extra", "spare-used", "renamed", "label",
]  # fmt: skip


class Change(NamedTuple):
    """One difference with one cause.

    `reference` and `other` are the first lines concerned, None where a list has none; `rows` are all of them where
    the cause concerns several. `offset`: by how many slots or sockets a shift is out.
    """

    kind: Kind
    channels: tuple[str, ...]
    reference: Line | None
    other: Line | None
    message: str
    rows: tuple[tuple[Line | None, Line | None], ...] = ()
    offset: int | None = None

    def lines(self) -> tuple[tuple[Line | None, Line | None], ...]:
        """Every pair of lines concerned."""
        return self.rows or ((self.reference, self.other),)
