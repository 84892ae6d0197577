"""The common row, read without asking what else it could be.

Nearly every row of a large sheet has a plain number, a plain name and words that were seen before. Such rows take
a short way to exactly what the long way (`interpret`) makes of them; any other row is left to that.
"""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from chanbridge.model import AUDIENCES, MOST_SLOTS
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import fields, values
from chanbridge.sheets.layout import Table

_NAME = re.compile(r"[^\W_]{1,30}(?: [^\W_]{1,30}){0,5}")
_SOCKET = re.compile(r"([A-Za-z]{1,2})(\d{1,4})")
_UNTOLD = object()


class QuickRow(NamedTuple):
    """A channel's fields with its id ("" if the row gives none), box, slot and socket number."""

    fields: dict[str, Any]
    id: str
    box: str
    slot: int
    socket: int | None


class Quick:
    """The short way for the rows of one table."""

    def __init__(self, table: Table, words: Vocabulary, box: str) -> None:
        at = {field: place for place, field in enumerate(table.fields) if field}
        self.able = not table.own and not table.side_by_side and {"number", "name"} <= {*at}
        self.width = len(table.heading)
        self.words = words
        self.home = box
        self.number, self.name = at.get("number", 0), at.get("name", 0)
        self.id, self.box, self.socket = at.get("id"), at.get("box"), at.get("socket")
        self.notes = at.get("notes")
        self.empty = [at[field] for field in ("pair", "side", "count", "contents", *AUDIENCES) if field in at]
        self.plain = [(field, at[field]) for field in fields.PLAIN if field in at]
        self.read: list[tuple[str, int, dict[str, Any]]] = [
            (field, at[field], {}) for field in fields.READ if field in at
        ]
        self.unknown = [
            (table.heading[place], place) for place, field in enumerate(table.fields) if field is None
        ]
        self.repeated = len({heading for heading, _ in self.unknown}) < len(self.unknown)
        topics = ("nothing", "total", "left", "right", "mid", "side", "stereo")
        telling = {word for topic in topics for word in words.values[topic]}
        telling |= {word for topic in words.roles.values() for word in topic}
        self.telling = frozenset(part for word in telling for part in re.findall(r"[^\W_]+", word)) | {"gain"}
        self.kinds = words.kinds
        self.names: dict[str, bool] = {}
        self.boxes: dict[str, bool] = {}

    def row(self, cells: list[str]) -> QuickRow | None:
        """What a row says, or None where the long way must decide."""
        if not self.able or len(cells) != self.width:
            return None
        number, name = cells[self.number], cells[self.name]
        if not (number.isdigit() and number.isascii() and len(number) < 7) or not _NAME.fullmatch(name):
            return None
        slot = int(number)
        if not 0 < slot <= MOST_SLOTS or not self.telling.isdisjoint(fold(name).split()):
            return None
        for at in self.empty:
            if cells[at]:
                return None
        if self.notes is not None and any(letter.isdigit() for letter in cells[self.notes]):
            return None  # it may name a partner
        where = self._place(cells)
        if where is None:
            return None
        out: dict[str, Any] = {"name": name}
        for field, at in self.plain:
            if cells[at]:
                out[field] = cells[at]
        for field, at, known in self.read:
            text = cells[at]
            if not text:
                continue
            value = known.get(text, _UNTOLD)
            if value is _UNTOLD:
                value = known[text] = fields.READ[field](text, self.words) if text.strip() else None
            if value is None:
                return None
            out[field] = value
        if "kind" not in out and "transducer" in out and fold(out["transducer"]) in self.kinds:
            out["kind"] = self.kinds[fold(out["transducer"])]
        if self.repeated and any(not cells[at] for _, at in self.unknown):
            return None
        out["extras"] = tuple((heading, cells[at]) for heading, at in self.unknown if cells[at])
        return QuickRow(out, cells[self.id].strip() if self.id is not None else "", where[0], slot, where[1])

    def _place(self, cells: list[str]) -> tuple[str, int | None] | None:
        """Box and socket where they are plainly said; None where they are not."""
        box = cells[self.box] if self.box is not None else ""
        said = cells[self.socket] if self.socket is not None else ""
        if not said:
            return None if box else (self.home, None)
        plain = self.boxes.get(box)
        if plain is None:
            plain = self.boxes[box] = box == box.strip() and not (box and values.is_nothing(box, self.words))
        if not plain:
            return None
        if said.isdigit() and said.isascii() and len(said) < 5 and int(said):
            return box or self.home, int(said)
        found = _SOCKET.fullmatch(said)
        if found and not box and not self.home and int(found[2]):
            return found[1], int(found[2])
        return None
