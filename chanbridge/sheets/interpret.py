"""A grid of cells becomes a channel map and a ledger of what became of every row."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import repeat

from chanbridge.errors import Location, ReadError
from chanbridge.model import ChannelMap, Slot, each
from chanbridge.names import Vocabulary, fold, vocabulary
from chanbridge.sheets import fields, values
from chanbridge.sheets.collect import Collector
from chanbridge.sheets.columns import HEADINGS, trimmed_extras
from chanbridge.sheets.grid import Grid, Options
from chanbridge.sheets.layout import REMARK, RULE, SECTION, Table, same_cells, tables
from chanbridge.sheets.ledger import Evidence, LedgerRow, Reading, Verdict
from chanbridge.sheets.quick import Quick, Run


def interpret(grids: Sequence[Grid], format_name: str, options: Options = Options()) -> Reading:
    """Read every table of every grid as one list of channels, as the user's options say.

    Raises ReadError when no table of channels can be found in any of them.
    """
    source = grids[0].source if grids else ""
    words = options.vocabulary or vocabulary()
    out = Collector(source, words, several=len(grids) > 1)
    found = [(grid, tables(grid, words, options.columns)) for grid in grids]
    listed = any(_PLACED & {*table.fields} for _, there in found for table in there)
    for grid, there in found:
        out.problems += grid.problems
        out.sheet = grid.sheet
        out.how += [grid.how] if grid.how else []
        for row, text in grid.asides:
            out.enter(row, "title", text)
            out.learn(text)
        rows = _Rows(out, grid, options.box)
        named = [table for table in there if "name" in table.fields or "id" in table.fields]
        if named and listed and len(grids) > 1 and not any(_TELLING & {*table.fields} for table in there):
            out.note(
                1,
                "sheet",
                f"the sheet {grid.sheet!r} has names, but no numbers, sockets or microphones; it is not read as channels",
            )
            named = []
        if (
            named
            and len(grids) > 1
            and grid.heading is None
            and all(table.heading_row is None and "number" not in table.fields for table in there)
        ):
            out.note(
                1,
                "sheet",
                f"the sheet {grid.sheet!r} has sockets and texts, but no headings; it is not read as channels",
            )
            named = []
        if not named:
            rows.keep_apart(0, len(grid.rows))
            continue
        first = there[0]
        rows.keep_apart(0, first.start if first.heading_row is None else first.heading_row)
        for table in there:
            rows.read(table)
    if not out.layout:
        heading = "; ".join(" | ".join(row) for row in (grids[0].rows[:2] if grids else []))
        raise ReadError(
            "no list of channels was found: no row of headings with a name (Name, Source, Instrument …) and "
            "no numbered list"
            + (f"; the file begins {heading[:120]!r}" if heading else "; the file is empty")
            + "; give it a first row such as Slot,Name,Box,Socket",
            Location(source),
        )
    return out.reading(format_name)


def reading_of(whole: ChannelMap, source: str, format_name: str) -> Reading:
    """A reading of a file that holds a whole map: each channel and each spare is a row of its ledger."""
    ledger = []
    origins = {}
    for row, line in enumerate(whole.lines(whole.listed_port()), 1):
        said = (line.number, line.channel.name if line.channel else line.text, line.box, line.socket)
        text = " | ".join("" if part is None else str(part) for part in said)
        ledger.append(LedgerRow(row, "", "channel" if line.channel else "spare", text))
        if line.channel:
            origins[line.channel.id] = Location(source, "", row)
    layout = {field: field for field in HEADINGS}
    return Reading(source, format_name, whole, tuple(ledger), layout, origins)


class _Rows:
    """Goes through the rows of one grid."""

    def __init__(self, out: Collector, grid: Grid, box: str) -> None:
        self.out = out
        self.words: Vocabulary = out.words
        self.grid = grid
        self.box = self.home = box
        self.group = ""
        self.seen: dict[int, int] = {}  # index of a row → its place in the ledger

    def enter(self, at: int, verdict: Verdict, reason: str = "") -> None:
        """Give the row at an index its verdict; of two tables side by side the weightier one stands."""
        self.out.enter(self.grid.numbers[at], verdict, _text(self.grid.rows[at]), reason, self.seen.get(at))
        self.seen.setdefault(at, len(self.out.ledger) - 1)

    def keep_apart(self, start: int, stop: int) -> None:
        """Rows outside any table: titles, dates, remarks, the name of a box."""
        for at in range(start, stop):
            cells = [cell.strip() for cell in self.grid.rows[at] if cell.strip()]
            section = SECTION.fullmatch(" ".join(cells))
            if section:
                self.box = section["box"]
                self.enter(at, "heading")
            elif all(RULE.fullmatch(cell) for cell in cells):
                self.enter(at, "rule")
            else:
                self.enter(at, "title")
                self.out.learn(" ".join(cells))

    def read(self, table: Table) -> None:
        """Every row of a table."""
        out, grid = self.out, self.grid
        self.group = ""
        if table.heading_row is not None and table.heading_row not in self.seen:
            self.enter(table.heading_row, "heading")
        top = grid.numbers[table.heading_row] if table.heading_row is not None else 1
        for doubt in table.doubts:
            out.note(top, "column", doubt, _text(table.heading))
        for field, heading in table.layout().items():
            out.layout.setdefault(field, heading)
        out.evidence += [
            Evidence(grid.sheet, heading, field or "", *why)
            for heading, field, why in zip(table.heading, table.fields, table.evidence, strict=True)
        ]
        seen: Counter[str] = Counter()
        for heading, meaning in zip(table.heading, table.fields, strict=True):
            if meaning is None:
                seen[heading] += 1
                out.heading(heading, seen[heading])
        at_field = {field: at for at, field in enumerate(table.fields) if field}
        rows = table.rows(grid)
        heading_cells = table.heading if table.heading_row is not None else None
        apart = _number_rows(rows, at_field)
        quick = Quick(table, [] if apart else rows, self.words, self.box)
        step = 0
        while step < len(rows):
            cells, at = rows[step], table.start + step
            if not apart and quick.open(step) and quick.home == self.box and not self.group:
                stop = quick.end(step)
                self._common(at, quick.run(step, stop), table.own)
                step = stop
                continue
            if not any(cell.strip() for cell in cells) and table.side_by_side:
                self.enter(at, "note")
            elif heading_cells and same_cells(cells, heading_cells):
                self.enter(at, "repeat")
            elif step in apart:
                self.enter(at, "channel", "its name stands in the next row")
            else:
                if step - 1 in apart:
                    number = at_field["number"]
                    cells = [*cells[:number], rows[step - 1][number], *cells[number + 1 :]]
                following = rows[step + 1] if step + 1 < len(rows) else []
                self._row(at, cells, following, table, at_field)
            step += 1

    def _common(self, start: int, run: Run, own: bool) -> None:
        """Enter rows that the short way has understood, the first of them at an index."""
        out, stop = self.out, start + len(run.slots)
        numbers = self.grid.numbers[start:stop]
        texts = [_text(row) for row in self.grid.rows[start:stop]]
        many = len(texts)
        out.ledger += each(
            LedgerRow, numbers, repeat(out.sheet, many), repeat("channel", many), texts, repeat("", many)
        )
        ports = {
            box: out.port(box, own) for box in dict.fromkeys(box for box, number in run.places if number)
        }
        sockets = [Slot(ports[box], number) if number else None for box, number in run.places]
        out.channels_of(numbers, run.fields, run.ids, [box for box, _ in run.places], run.slots, sockets)

    def _row(
        self, at: int, cells: list[str], following: list[str], table: Table, at_field: dict[str, int]
    ) -> None:
        out, number_at = self.out, self.grid.numbers[at]
        text = _text(self.grid.rows[at])

        def note(code: str, message: str, field: str = "") -> None:
            out.note(
                number_at, code, message, text, table.heading[at_field[field]] if field in at_field else ""
            )

        if len(cells) > len(table.heading) and any(part.strip() for part in cells[len(table.heading) :]):
            many = f"{len(cells)} cells under {len(table.heading)} headings"
            self.enter(at, "rejected", f"it has {many}")
            note("too-many-cells", f"{many}; quote a cell that holds the delimiter")
            return
        own_id = at_field.get("id")
        has_id = own_id is not None and own_id < len(cells) and bool(cells[own_id])
        row = fields.Row(cells, table.heading, at_field, table.own and has_id, note)
        filled = [part for part in cells if part.strip()]
        drawn = bool(filled) and filled[0].strip()[0] in _DRAWN
        if drawn and all(map(RULE.fullmatch, filled)) and (not has_id or len(filled) == len(cells)):
            self.enter(at, "rule")
            return
        name, said = row.cell("name"), row.cell("number")
        nothing = not row.ours and values.is_nothing(name, self.words)
        number = values.plain_number(said) if table.own else values.numbers(said)
        if number is None and said.strip() and fold(said) not in self.words.values["nothing"]:
            aside = self._aside(filled, name)
            if aside:
                self.enter(at, aside)
                return
            message = (
                f"channel number {said!r} is not a whole number from 1; "
                "write for example 7, or leave it empty for a channel that is not patched yet"
            )
            self.enter(at, "rejected", message)
            note("number", message, "number")
            return
        if number is None and not row.ours and (len(filled) == 1 or nothing or self._is_total(filled)):
            socketed = values.sockets(row.cell("socket")) if "socket" in at_field else None
            aside = self._aside(filled, name) if len(filled) == 1 or not socketed else None
            if aside and not (aside == "note" and socketed):
                self.enter(at, aside)
                return
        if number and number.repaired:
            note("repaired", f"{said!r} read as {number.values[0]}", "number")
        two = bool(number and len(number.values) == 2) or values.both_sides(name) is not None
        found = fields.sockets(row, self.words, self.box, table.own, two)
        if nothing:
            self._spare(at, row, number, found)
            return
        understood = fields.understand(row, self.words)
        channel = understood.fields
        if self.group:
            channel.setdefault("group", self.group)
        unknown = [
            (table.heading[column], cells[column] if column < len(cells) else "")
            for column, field in enumerate(table.fields)
            if field is None
        ]
        channel["extras"] = trimmed_extras(unknown)
        for heading, cell in understood.unread:
            out.keep(channel, heading, cell)
        if row.ours:
            where = [fields.Place(number.values[0] if number else None, found[0] if found else None, name)]
        else:
            number_cell = at_field.get("number", len(following))
            after = following[number_cell] if number_cell < len(following) else ""
            where = fields.places(row, channel["name"], number, found, after)
            if "number" in at_field and number is None:
                note("no-number", f"{channel['name']!r} has no number; it stands on no slot", "number")
        self.enter(at, "channel")
        for place in where:
            self._channel(number_at, row, channel | {"name": place.name}, place, table)

    def _channel(
        self, number_at: int, row: fields.Row, channel: dict[str, object], place: fields.Place, table: Table
    ) -> None:
        out = self.out
        wanted = fields.own_id(row.cell("id")) if table.own else row.cell("id").strip()
        box = (place.socket.box if place.socket else row.cell("box").strip()) or self.home
        name = out.channel(number_at, channel, wanted, box, place.slot, out.slot(place.socket, table.own))
        if name is None:
            return
        if not place.socket:  # a place that is no numbered socket is kept as it stands
            field = "socket" if row.cell("socket").strip() else "box"
            said = row.cell(field)
            if said.strip() and (table.own or not values.is_nothing(said, self.words)):
                out.keep(out.fields(name), table.heading[table.fields.index(field)], said)
        pair, side = row.cell("pair"), row.cell("side")
        if pair.strip() or side.strip():
            out.pair_cells.append((name, pair, side, row.ours))
        elif not row.ours:
            out.guess.append(name)

    def _spare(
        self, at: int, row: fields.Row, number: values.Numbers | None, found: tuple[values.Socket, ...]
    ) -> None:
        text = _text(row.cells)
        known = {row.at.get(field) for field in ("number", "box", "socket", "id")}
        said = [
            (column, part) for column, part in enumerate(row.cells) if part.strip() and column not in known
        ]
        plain = {row.at.get("name"), row.at.get("notes")}
        remark = "; ".join(
            part
            if column in plain or len(said) == 1 or not row.heading[column].strip()
            else f"{row.heading[column]}: {part}"
            for column, part in said
        )
        if number is None and not found:
            self.enter(at, "note")
            return
        self.enter(at, "spare")
        slots: tuple[int | None, ...] = number.values if number else (None,) * len(found)
        for step, slot in enumerate(slots):
            socket = found[step] if step < len(found) else None
            self.out.spare(self.grid.numbers[at], slot, self.out.slot(socket, False), remark, text)

    def _aside(self, filled: list[str], name: str) -> Verdict | None:
        """What a row is that carries no number and no channel: a section, a total, a remark; None if neither."""
        first = filled[0].strip() if filled else ""
        if REMARK.match(first):
            return "note"
        if self._is_total(filled):
            return "total"
        if len(filled) > 1:
            return None if name.strip() and not values.is_nothing(name, self.words) else "note"
        section = SECTION.fullmatch(first)
        if section:
            self.box = section["box"]
            return "heading"
        if re.match(r"\d", first) and not name.strip():
            return None  # it begins like a channel: to be rejected, not passed over
        if first.endswith(":"):
            self.group = first.rstrip(": ")
            return "heading"
        return None if name.strip() and not values.is_nothing(name, self.words) else "note"

    def _is_total(self, filled: list[str]) -> bool:
        head = fold(re.sub(r"[:=\d\s]+$", "", filled[0])) if filled else ""
        return head in self.words.values["total"] and len(filled) <= 3


_PLACED = frozenset(("number", "socket"))
_TELLING = frozenset((*_PLACED, "id", "transducer", "phantom", "count"))
"""Fields of which a list of channels has one; a list of people has none."""

_DRAWN = frozenset("-=_*─━═#~.+|:")


def _text(row: list[str]) -> str:
    return " | ".join(row).rstrip(" |")


def _number_rows(rows: list[list[str]], at_field: dict[str, int]) -> set[int]:
    """Rows that hold a number alone, each with its name in the next row: only if all of a table are so."""
    number, name = at_field.get("number"), at_field.get("name")
    if number is None or name is None:
        return set()

    def cell(row: list[str], at: int) -> str:
        return row[at].strip() if at < len(row) else ""

    alone = {
        at
        for at, row in enumerate(rows[:-1])
        if not cell(row, name) and cell(row, number) and not cell(rows[at + 1], number) and cell(rows[at + 1], name)
        and sum(bool(part.strip()) for part in row) == 1
    }  # fmt: skip
    if not alone:
        return alone
    named = any(cell(row, number) and cell(row, name) for row in rows)
    return alone if len(alone) > 1 and not named else set()
