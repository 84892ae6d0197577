"""The common rows, read column by column without asking what else they could be.

Nearly every row of a large sheet has a plain number, a plain name and words that were seen before. Runs of such rows
take a short way to exactly what the long way (`interpret`) makes of them; any other row is left to that.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import repeat
from typing import Any, NamedTuple

from chanbridge.model import AUDIENCES, MOST_SLOTS, Channel, Extra, each
from chanbridge.names import Vocabulary, fold
from chanbridge.sheets import fields, values
from chanbridge.sheets.layout import Table

_NAME = re.compile(r"[^\W_]{1,30}(?: [^\W_]{1,30}){0,5}")
_SOCKET = re.compile(r"([A-Za-z]{1,2})(\d{1,4})")
_EMPTY = frozenset(("", None))
_DIGIT = re.compile(r"\d")


class Run(NamedTuple):
    """Rows that follow each other, one entry each: what their channels have, column by column.

    `ids`: "" if a row gives none. `places`: boxes with the socket's number, None if a row names none.
    """

    fields: dict[str, list[Any]]
    ids: list[str]
    slots: list[int]
    places: list[tuple[str, int | None]]


class Quick:
    """The short way for the rows of one table.

    `plain[i]`: whether it is open to row i; never to the one behind the last. `home`: the box of rows that name none.
    """

    def __init__(self, table: Table, rows: list[list[str]], words: Vocabulary, home: str) -> None:
        self.plain = [False] * (len(rows) + 1)
        at = {field: place for place, field in enumerate(table.fields) if field}
        if table.side_by_side or not {"number", "name"} <= {*at}:
            return
        width = len(table.heading)
        blank = [""] * width
        whole = [row if len(row) == width else blank for row in rows]
        columns: list[Sequence[str]] = list(zip(*whole, strict=True)) or [()] * width
        self.words, self.home, self.own = words, home, table.own
        self.numbers, self.names = columns[at["number"]], columns[at["name"]]
        self.ids = columns[at["id"]] if "id" in at else None
        self.columns: dict[str, Sequence[Any]] = {"name": self.names}
        self.columns |= {field: columns[at[field]] for field in fields.PLAIN if field in at}
        rules: list[tuple[Sequence[Any], Callable[[Any], object]]] = []
        if not _all_slots(self.numbers):
            rules.append((self.numbers, _is_slot))
        if table.own:  # with an id, a name is meant word for word
            rules.append((columns[at["id"]], bool))
        else:
            telling = self._telling()
            if not _all_plain(self.names, telling):
                rules.append((self.names, lambda name: _is_plain(name, telling)))
            if "notes" in at:  # with a number in it, it may name a partner
                rules.append((columns[at["notes"]], lambda said: not _DIGIT.search(said)))
        for field in ("pair", "side", "count", "contents", *AUDIENCES):
            if field in at:
                rules.append((columns[at[field]], lambda said: not said))
        for field in fields.READ:
            if field in at:
                column = columns[at[field]]
                known = {said: self._understood(field, said) for said in set(column)}
                self.columns[field] = [known[said] for said in column]
                rules.append(
                    (column, {said: not said or known[said] is not None for said in known}.__getitem__)
                )
        nowhere = [""] * len(rows)
        boxes, sockets = (columns[at[field]] if field in at else nowhere for field in ("box", "socket"))
        self.places = self._places(boxes, sockets)
        if not table.own:
            self._kinds(len(rows))
        unknown = [place for place, field in enumerate(table.fields) if field is None]
        headings = [table.heading[place] for place in unknown]
        self.columns["extras"] = [()] * len(rows)
        if unknown:
            kept = [columns[place] for place in unknown]
            if len(set(headings)) < len(headings):
                rules.append((list(zip(*kept, strict=True)), all))
            self.columns["extras"] = _extras(headings, kept)
        bad: set[int] = set()
        if blank in whole or None in self.places:
            bad.update(row for row, cells in enumerate(whole) if cells is blank or self.places[row] is None)
        for column, rule in rules:
            wrong = {said for said in set(column) if not rule(said)}
            if wrong:
                bad.update(row for row, said in enumerate(column) if said in wrong)
        self.plain = [row not in bad for row in range(len(rows))] if bad else [True] * len(rows)
        self.plain.append(False)  # behind the last row

    def open(self, row: int) -> bool:
        """Whether the short way is open to a row."""
        return self.plain[row]

    def end(self, row: int) -> int:
        """The first row from `row` on to which the short way is not open."""
        return self.plain.index(False, row)

    def run(self, start: int, stop: int) -> Run:
        """What rows `start` to `stop` - 1 say, all of them plain."""
        columns: dict[str, list[Any]] = {}
        for field, column in self.columns.items():
            cells = list(column[start:stop])
            if field not in ("name", "extras"):
                distinct = set(cells)
                if distinct <= _EMPTY:
                    continue
                if distinct & _EMPTY:
                    usual = Channel.model_fields[field].default
                    cells = [usual if cell in _EMPTY else cell for cell in cells]
            columns[field] = cells
        ids = list(self.ids[start:stop]) if self.ids else [""] * (stop - start)
        if not self.own:
            ids = [said.strip() for said in ids]
        elif not all(map(str.strip, ids)):
            ids = [fields.own_id(said) for said in ids]
        places = [place for place in self.places[start:stop] if place]
        return Run(columns, ids, [int(said) for said in self.numbers[start:stop]], places)

    def _telling(self) -> frozenset[str]:
        """Words that make a name more than a name."""
        topics = ("nothing", "total", "left", "right", "mid", "side", "stereo")
        telling = {word for topic in topics for word in self.words.values[topic]}
        telling |= {word for topic in self.words.roles.values() for word in topic}
        return frozenset(part for word in telling for part in re.findall(r"[^\W_]+", word)) | {"gain"}

    def _understood(self, field: str, said: str) -> Any:
        return fields.READ[field](said, self.words) if said.strip() else None

    def _kinds(self, rows: int) -> None:
        """The kind that a transducer is, where no column says the kind."""
        said = self.columns.get("transducer")
        if said is None:
            return
        known = {transducer: self.words.kinds.get(fold(transducer)) for transducer in set(said)}
        if any(known.values()):
            own = self.columns.get("kind", [None] * rows)
            self.columns["kind"] = [kind or known[name] for kind, name in zip(own, said, strict=True)]

    def _places(self, boxes: Sequence[str], sockets: Sequence[str]) -> list[tuple[str, int | None] | None]:
        """What box and socket plainly say, row by row; None where that is not plain."""
        distinct = set(boxes)
        odd = {box for box in distinct if box != box.strip() or (box and values.is_nothing(box, self.words))}
        if not odd and "" not in distinct and _all_numbers(sockets, 5):
            return list(zip(boxes, map(int, sockets), strict=True))
        numbers = {
            text: int(text) for text in set(sockets) if text.isdigit() and text.isascii() and len(text) < 5
        }
        known: dict[tuple[str, str], tuple[str, int | None] | None] = {}
        for box, text in set(zip(boxes, sockets, strict=True)):
            number = numbers.get(text)
            place: tuple[str, int | None] | None = None
            if not text:
                place = None if box else (self.home, None)
            elif box in odd:
                place = None
            elif number:
                place = (box or self.home, number)
            elif (
                not self.own
                and not box
                and not self.home
                and (found := _SOCKET.fullmatch(text))
                and int(found[2])
            ):
                place = (found[1], int(found[2]))
            known[box, text] = place
        return [known[place] for place in zip(boxes, sockets, strict=True)]


def _extras(headings: list[str], columns: list[Sequence[str]]) -> list[tuple[Extra, ...]]:
    """The filled cells of unknown columns, row by row."""
    made = [
        each(Extra, repeat(heading, len(cells)), cells)
        for heading, cells in zip(headings, columns, strict=True)
    ]
    rows = list(zip(*made, strict=True))
    if all(map(all, columns)):
        return rows
    return [tuple(extra for extra in row if extra.text) for row in rows]


def _is_plain(name: str, telling: frozenset[str]) -> bool:
    return bool(_NAME.fullmatch(name)) and telling.isdisjoint(fold(name).split())


def _all_plain(names: Sequence[str], telling: frozenset[str]) -> bool:
    """Whether all of many names are plain, at a glance; False may mean that a closer look is due."""
    text = "\n".join(names)
    return text.isascii() and telling.isdisjoint(text.lower().split()) and all(map(_NAME.fullmatch, names))


def _all_slots(numbers: Sequence[str]) -> bool:
    """Whether all of many numbers are slots, at a glance; False may mean that a closer look is due."""
    return _all_numbers(numbers, 7) and max(map(int, numbers)) <= MOST_SLOTS


def _all_numbers(cells: Sequence[str], below: int) -> bool:
    """Whether all cells are whole numbers from 1 with fewer than so many figures, at a glance."""
    text = "".join(cells)
    plain = text.isdigit() and text.isascii() and all(cells) and max(map(len, cells)) < below
    return plain and min(map(int, cells)) > 0


def _is_slot(said: str) -> bool:
    return said.isdigit() and said.isascii() and len(said) < 7 and 0 < int(said) <= MOST_SLOTS
