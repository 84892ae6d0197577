"""A grid of cells becomes a channel map and a ledger of what became of every row."""

from __future__ import annotations

import datetime
import gc
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any, Literal

from pydantic import TypeAdapter

from chanbridge.errors import Location, Problem, ReadError
from chanbridge.model import AUDIENCES, Channel, ChannelMap, Entry, Patch, Port, Reserved, Slot
from chanbridge.names import Vocabulary, fold, slug, unique, vocabulary
from chanbridge.sheets import values
from chanbridge.sheets.columns import HEADINGS, contents_of, in_order, trimmed_extras
from chanbridge.sheets.grid import Grid
from chanbridge.sheets.layout import Table, same_cells, tables
from chanbridge.sheets.ledger import LedgerRow, Reading, Verdict
from chanbridge.sheets.pairs import Pairing

LISTED = "slots"
"""Id of the port that a plain list's numbers count in."""

_PLAIN = ("short", "transducer", "stand", "position", "group", "gain_owner", "notes")
_channels = TypeAdapter(tuple[Channel, ...])


def interpret(grids: Sequence[Grid], format_name: str, box: str = "") -> Reading:
    """Read every table of every grid as one list of channels. `box`: where rows belong that name no box.

    Raises ReadError when no table of channels can be found in any of them.
    """
    source = grids[0].source if grids else ""
    reader = _Reader(source, vocabulary(), box)
    for grid in grids:
        reader.problems += grid.problems
        reader.box = box
        for row, text in grid.asides:
            reader.enter(row, "title", text)
            reader.learn(text)
        found = tables(grid, reader.words)
        if not any("name" in table.fields or "id" in table.fields for table in found):
            reader.keep_apart(grid, 0, len(grid.rows))
            continue
        reader.keep_apart(grid, 0, found[0].start if found[0].heading_row is None else found[0].heading_row)
        for table in found:
            reader.table(grid, table)
    if not reader.layout:
        heading = "; ".join(" | ".join(row) for row in (grids[0].rows[:2] if grids else []))
        raise ReadError(
            "no list of channels was found: no row of headings with a name (Name, Source, Instrument …) and "
            "no numbered list"
            + (f"; the file begins {heading[:120]!r}" if heading else "; the file is empty")
            + "; give it a first row such as Slot,Name,Box,Socket",
            Location(source),
        )
    return reader.reading(format_name)


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


class _Reader:
    """Collects what the tables of one file say."""

    def __init__(self, source: str, words: Vocabulary, box: str) -> None:
        self.source = source
        self.home = box
        self.words = words
        self.channels: list[dict[str, Any]] = []
        self.by_id: dict[str, dict[str, Any]] = {}
        self.numbers: dict[str, list[int]] = {}
        self.boxes: dict[str, str] = {}
        self.guessed: list[str] = []  # ids of channels whose row says nothing of pairs and audience by itself
        self.pair_cells: list[tuple[str, str, str, bool]] = []
        self.entries: dict[Entry, None] = {}
        self.patches: dict[Patch, None] = {}
        self.spare_ways: dict[Patch, tuple[int, str]] = {}
        self.reserved: list[Reserved] = []
        self.unread = False  # whether a cell that was not understood stands among the extras
        self.ledger: list[LedgerRow] = []
        self.origins: dict[str, Location] = {}
        self.texts: dict[str, str] = {}
        self.problems: list[Problem] = []
        self.layout: dict[str, str] = {}
        self.headings: list[str] = []
        self.ports: dict[str, Port] = {}
        self.highest = 0
        self.box = ""
        self.group = ""
        self.about: dict[str, Any] = {}
        self.sheet = ""

    # Rows

    def note(self, row: int, code: str, message: str, text: str = "", column: str = "") -> None:
        """Add a problem at a row of the sheet being read, quoting the row as it stood."""
        quoted = f" (row: {text})" if text else ""
        self.problems.append(Problem(Location(self.source, self.sheet, row, column), code, message + quoted))

    def report(self, channel_id: str, code: str, message: str) -> None:
        """Add a problem about a channel, quoting its row."""
        quoted = f"{message} (row: {self.texts[channel_id]})"
        self.problems.append(Problem(self.origins[channel_id], code, quoted))

    def enter(self, row: int, verdict: Verdict, text: str, reason: str = "") -> None:
        self.ledger.append(LedgerRow(row, self.sheet, verdict, text, reason))

    def keep_apart(self, grid: Grid, start: int, stop: int) -> None:
        """Rows outside any table: titles, dates, remarks."""
        self.sheet = grid.sheet
        for at in range(start, stop):
            text = _text(grid.rows[at])
            section = _SECTION.fullmatch(text.strip())
            if section:
                self.box = section["box"]
                self.enter(grid.numbers[at], "heading", text)
                continue
            rule = all(_RULE.fullmatch(cell) for cell in grid.rows[at] if cell.strip())
            self.enter(grid.numbers[at], "rule" if rule else "title", text)
            if not rule:
                self.learn(" ".join(cell.strip() for cell in grid.rows[at] if cell.strip()))

    def learn(self, text: str) -> None:
        """Take title, revision and date from a line above or beside a table."""
        if revision := re.search(
            r"\b(?:revision|rev\.?|version|stand)[:\s]+([A-Z]|\d{1,3})\b", text, re.IGNORECASE
        ):
            self.about.setdefault("revision", revision[1])
        for pattern, order in (
            (r"\b(\d{4})-(\d{2})-(\d{2})\b", (1, 2, 3)),
            (r"\b(\d{1,2})\.(\d{1,2})\.(\d{4})\b", (3, 2, 1)),
        ):
            found = re.search(pattern, text)
            if found:
                year, month, day = (int(found[at]) for at in order)
                if 1 <= month <= 12 and 1 <= day <= 31 and (day <= 28 or _is_date(year, month, day)):
                    self.about.setdefault("date", datetime.date(year, month, day))
        if not self.about.get("title") and not re.match(
            r"\s*(revision|rev|date|datum|version|stand)\b", text, re.IGNORECASE
        ):
            self.about["title"] = text

    def table(self, grid: Grid, table: Table) -> None:
        self.sheet, self.group = grid.sheet, ""
        if table.heading_row is not None:
            self.enter(grid.numbers[table.heading_row], "heading", _text(grid.rows[table.heading_row]))
        top = grid.numbers[table.heading_row] if table.heading_row is not None else 1
        for doubt in table.doubts:
            self.note(top, "column", doubt, _text(table.heading))
        for field, heading in table.layout().items():
            self.layout.setdefault(field, heading)
        unknown = [at for at, field in enumerate(table.fields) if field is None]
        seen: Counter[str] = Counter()
        for heading in (table.heading[at] for at in unknown):
            seen[heading] += 1
            if self.headings.count(heading) < seen[heading]:
                self.headings.append(heading)
        where = {field: at for at, field in enumerate(table.fields) if field}
        rows = grid.rows[table.start : table.stop]
        heading_cells = grid.rows[table.heading_row] if table.heading_row is not None else None
        for at, row in enumerate(rows):
            if (
                heading_cells
                and row[0][:1].casefold() == heading_cells[0][:1].casefold()
                and same_cells(row, heading_cells)
            ):
                self.enter(grid.numbers[table.start + at], "repeat", _text(row))
                continue
            following = rows[at + 1] if at + 1 < len(rows) else []
            self._row(grid.numbers[table.start + at], row, following, table, where, unknown)

    def _row(
        self,
        row: int,
        cells: list[str],
        following: list[str],
        table: Table,
        where: dict[str, int],
        unknown: list[int],
    ) -> None:
        text = _text(cells)
        width = len(cells)

        def cell(field: str) -> str:
            at = where.get(field, width)
            return cells[at] if at < width else ""

        if width > len(table.heading) and any(part.strip() for part in cells[len(table.heading) :]):
            self.enter(row, "rejected", text, f"it has {width} cells under {len(table.heading)} headings")
            self.note(
                row,
                "too-many-cells",
                f"{width} cells under {len(table.heading)} headings; quote a cell that holds the delimiter",
                text,
            )
            return
        filled = [part for part in cells if part.strip()]
        if all(_RULE.fullmatch(part) for part in filled) and (not cell("id") or len(filled) == width):
            self.enter(row, "rule", text)
            return
        name, number_text, channel_id = cell("name"), cell("number"), cell("id")
        ours = table.own and bool(channel_id)
        nothing = not ours and values.is_nothing(name, self.words)
        number = values.plain_number(number_text) if table.own else values.numbers(number_text)
        if number is None and number_text.strip() and fold(number_text) not in self.words.values["nothing"]:
            aside = self._aside(cells, filled, name)
            if aside:
                self.enter(row, aside, text)
                return
            message = (
                f"channel number {number_text!r} is not a whole number from 1; "
                "write for example 7, or leave it empty for a channel that is not patched yet"
            )
            self.enter(row, "rejected", text, message)
            self.note(row, "number", message, text, table.heading[where["number"]])
            return
        if number and number.repaired:
            self.note(
                row,
                "repaired",
                f"{number_text!r} read as {number.values[0]}",
                text,
                table.heading[where["number"]],
            )
        if number is None and not ours and len(filled) == 1 and (aside := self._aside(cells, filled, name)):
            self.enter(row, aside, text)
            return
        found = self._sockets(row, cell, table, where, text)
        if number is None and not found and not ours:
            aside = self._aside(cells, filled, name) if len(filled) == 1 or nothing else None
            if aside is None and self._is_total(filled):
                aside = "total"
            if aside:
                self.enter(row, aside, text)
                return
        extras = [(table.heading[at], cells[at] if at < width else "") for at in unknown]
        if nothing:
            self._spare(row, cells, table, where, number, found, text)
            return
        fields: dict[str, Any] = {"name": name}
        for field in _PLAIN:
            if field in where and (said := cell(field)):
                fields[field] = said
        self._understand(row, fields, extras, cell, table, where, text, ours)
        if self.group and "group" not in fields:
            fields["group"] = self.group
        fields["extras"] = trimmed_extras(extras)
        if ours:
            places = [(number.values[0] if number else None, found[0] if found else None, name)]
        else:
            places = self._places(row, name, number, found, cell("count"), following, where, text)
        self.enter(row, "channel", text)
        for slot, socket, label in places:
            self._channel(row, fields | {"name": label}, slot, socket, channel_id, table, cell, text)

    def _aside(self, cells: list[str], filled: list[str], name: str) -> Verdict | None:
        """What a row is that carries no number and no channel: a section, a total, a remark; None if neither."""
        first = filled[0].strip() if filled else ""
        if re.match(
            r"[*†‡]|(note|nb|hinweis|anmerkung|remarque|nota|opmerking)\b\s*[:.]", first, re.IGNORECASE
        ):
            return "note"
        if self._is_total(filled):
            return "total"
        if len(filled) == 1:
            section = _SECTION.fullmatch(first)
            if section:
                self.box = section["box"]
                return "heading"
            if re.match(r"\d", first) and not name.strip():
                return None  # it begins like a channel: to be rejected, not passed over
            if first.endswith(":"):
                self.group = first.rstrip(": ")
                return "heading"
            return None if name.strip() and not values.is_nothing(name, self.words) else "note"
        return None if name.strip() else "note"

    def _is_total(self, filled: list[str]) -> bool:
        head = fold(re.sub(r"[:=\d\s]+$", "", filled[0])) if filled else ""
        return head in self.words.values["total"] and len(filled) <= 3

    # Cells

    def _sockets(
        self, row: int, cell: Any, table: Table, where: dict[str, int], text: str
    ) -> tuple[values.Socket, ...]:
        said, box = cell("socket"), cell("box")
        if not said.strip() or (not table.own and values.is_nothing(said, self.words)):
            if "socket" not in where and box.strip():  # a column of boxes may hold the sockets too
                return values.sockets(box) or ()
            return ()
        found = values.sockets(said)
        if not found:
            self.note(
                row,
                "socket",
                f"socket {said!r} is not understood; write a box and a number such as A16",
                text,
                table.heading[where["socket"]],
            )
            return ()
        if table.own:
            digits = said.strip()
            return (values.Socket(box or self.home, int(digits)),) if digits.isdigit() else found
        own = box.strip() or self.box
        if own and not values.is_nothing(own, self.words):
            other = next(
                (socket.box for socket in found if socket.box and fold(socket.box) != fold(own)), None
            )
            if other and box.strip():
                self.note(
                    row,
                    "box",
                    f"the box is {own!r} but the socket {said!r} names {other!r}; the box column counts",
                    text,
                )
            found = tuple(
                values.Socket(own if box.strip() or not socket.box else socket.box, socket.number)
                for socket in found
            )
        return found

    def _understand(
        self, row: int, fields: dict[str, Any], extras: list[tuple[str, str]], cell: Any, table: Table,
        where: dict[str, int], text: str, ours: bool,
    ) -> None:  # fmt: skip
        """Fill the fields whose words are understood; other words stay, under their heading, as extras."""

        def take(field: str, understood: Any) -> None:
            said = cell(field)
            if not said.strip():
                return
            if understood is None or understood == "":
                heading = table.heading[where[field]]
                extras.append((heading, said))
                self.unread = True
                if heading not in self.headings:
                    self.headings.append(heading)
                self.note(
                    row,
                    field.replace("_", "-"),
                    f"{heading} says {said!r}, which is not understood; it is kept as it stands",
                    text,
                    heading,
                )
            else:
                fields[field] = understood

        words = self.words
        if "phantom" in where:
            take("phantom", values.phantom(cell("phantom"), words))
        if "polarity" in where:
            take("polarity", values.polarity(cell("polarity"), words))
        if "gain_db" in where:
            take("gain_db", values.decibels(cell("gain_db")))
        if "pad_db" in where:
            take("pad_db", values.decibels(cell("pad_db")))
        if "kind" in where:
            said = cell("kind")
            take("kind", said if ours else values.kind_of(said, words))
        if "needs_power" in where:
            take("needs_power", values.yes_or_no(cell("needs_power"), words))
        if "priority" in where:
            said = fold(cell("priority"))
            take("priority", said if said in ("must", "want", "spare") else None)
        if "tap" in where:
            said = fold(cell("tap"))
            take("tap", _TAPS.get(said))
        if "contents" in where and cell("contents"):
            said = cell("contents")
            fields["contents"] = (
                contents_of(said)
                if ours
                else tuple(part.strip() for part in re.split(r"[;,]", said) if part.strip())
            )
        heard = {}
        for name in AUDIENCES:
            if name in where and cell(name).strip():
                heard[name] = values.permission(cell(name), words)
                take(name, heard[name])
                fields.pop(name, None)
        said_so = {name: permission for name, permission in heard.items() if permission}
        if said_so:
            fields["audience"] = said_so
        if ours or not fields["name"]:
            return
        label = fields["name"]
        gain = re.fullmatch(
            r"(.*?)\s*[(\[]\s*gain\s*:?\s*([+\-−]?\d+(?:[.,]\d+)?)\s*(?:db)?\s*[)\]]\s*(.*)",
            label,
            re.IGNORECASE | re.DOTALL,
        )
        if gain and "gain_db" not in fields:
            fields["gain_db"] = values.decibels(gain[2])
            fields["name"] = label = f"{gain[1]} {gain[3]}".strip()
            self.note(row, "gain-in-name", f"gain {gain[2]} dB taken out of the name", text)
        role = values.roles(label, words)
        if role and values.is_misleading(label, words):
            self.note(
                row,
                "role-doubtful",
                f"{label!r} holds the word {role[1]!r} but may be speech; nothing is assumed about who may hear it: say so in a column such as Air or Room",
                text,
            )
        elif role:
            self._role(row, fields, role, text)
        if fold(fields.get("transducer", "")) in words.kinds and "kind" not in fields:
            fields["kind"] = words.kinds[fold(fields["transducer"])]
        if (
            any(fold(part) in words.roles["spare_marks"] for part in re.findall(r"[\w-]+", label))
            and "priority" not in fields
        ):
            fields["priority"] = "spare"

    def _role(self, row: int, fields: dict[str, Any], role: tuple[str, str], text: str) -> None:
        told = fields.get("audience", {})
        name, word = role
        if name == "not for air":
            assumed = {key: "not allowed" for key in ("air", "room") if key not in told}
            topic = next(
                (topic for topic in ("talkback", "playback") if word in self.words.roles[topic]), None
            )
        else:
            assumed = {"room": "not allowed"} if "room" not in told else {}
            topic = "ambience"
        if topic:
            fields.setdefault("kind", topic)
        if assumed:
            fields["audience"] = told | assumed
            self.note(
                row,
                "role",
                f"{fields['name']!r} is taken as not for {' or '.join(assumed)} because of the word {word!r}; a column {' or '.join(part.capitalize() for part in assumed)} overrides that",
                text,
            )

    def _places(
        self, row: int, name: str, number: values.Numbers | None, found: tuple[values.Socket, ...], count: str,
        following: list[str], where: dict[str, int], text: str,
    ) -> list[tuple[int | None, values.Socket | None, str]]:  # fmt: skip
        """One row as (slot, socket, name) for each channel that it stands for."""
        slots: list[int | None] = list(number.values) if number else []
        stem = values.both_sides(name)
        wanted = max(len(slots), len(found), int(count) if count.strip().isdigit() and int(count) < 65 else 1)
        if wanted == 1 and stem and slots and not found:
            after = values.numbers(following[where["number"]]) if where["number"] < len(following) else None
            if after and slots[0] and after.values[0] == slots[0] + 2:
                wanted = 2
        if wanted == 1:
            if stem is not None and stem:
                self.note(
                    row,
                    "pair-on-one-row",
                    f"{name!r} sounds like a pair but has one number; it is read as one channel: write 19-20 for two",
                    text,
                )
            return [(slots[0] if slots else None, found[0] if found else None, name)]
        if len(slots) == 1 and wanted > 1:
            first = slots[0] or 1
            slots = [first + step for step in range(wanted)]
        slots += [None] * (wanted - len(slots))
        sockets: list[values.Socket | None] = list(found)
        if len(sockets) == 1 and sockets[0]:
            sockets = [values.Socket(sockets[0].box, sockets[0].number + step) for step in range(wanted)]
        sockets = (sockets + [None] * wanted)[:wanted]
        labels = (
            [f"{stem} L", f"{stem} R"]
            if stem and wanted == 2
            else [f"{name} {step}" for step in range(1, wanted + 1)]
        )
        self.note(
            row,
            "range",
            f"one row stands for {wanted} channels, read as {labels[0]!r} to {labels[-1]!r}",
            text,
        )
        return list(zip(slots, sockets, labels, strict=True))

    # Results

    def _port(self, box: str, own: bool) -> str:
        key = box if own else fold(box)
        if key not in self.boxes:
            port_id = unique(box or "sockets", {*self.ports, LISTED} if box else self.ports)
            self.boxes[key] = port_id
            self.ports[port_id] = Port(id=port_id, device=box, kind="sockets")
        return self.boxes[key]

    def _spare(
        self, row: int, cells: list[str], table: Table, where: dict[str, int], number: values.Numbers | None,
        found: tuple[values.Socket, ...], text: str,
    ) -> None:  # fmt: skip
        self.enter(row, "spare", text)
        known = {where.get(field) for field in ("number", "box", "socket", "id")}
        said = [(at, part) for at, part in enumerate(cells) if part.strip() and at not in known]
        name_at, notes_at = where.get("name"), where.get("notes")
        remark = "; ".join(
            part
            if at in (name_at, notes_at) or len(said) == 1 or not table.heading[at].strip()
            else f"{table.heading[at]}: {part}"
            for at, part in said
        )
        slots = number.values if number else (None,)
        for step, slot in enumerate(slots):
            socket = found[step] if step < len(found) else None
            at = Slot(self._port(socket.box, table.own), socket.number) if socket else None
            if slot is not None:
                self.highest = max(self.highest, slot)
                if at:
                    self.spare_ways[Patch(at, Slot(LISTED, slot))] = (row, text)
                if remark:
                    self.reserved.append(Reserved(Slot(LISTED, slot), remark))
            elif at:
                self.reserved.append(Reserved(at, remark))
            elif remark:
                self.ledger[-1] = self.ledger[-1]._replace(verdict="note")

    def _channel(
        self, row: int, fields: dict[str, Any], slot: int | None, socket: values.Socket | None, wanted_id: str,
        table: Table, cell: Any, text: str,
    ) -> None:  # fmt: skip
        box = (socket.box if socket else cell("box").strip()) or self.home
        channel_id = wanted_id if table.own else wanted_id.strip()
        if not channel_id:
            channel_id = unique(slug(box, fields["name"]) or "channel", self.by_id)
        at = Slot(self._port(socket.box, table.own), socket.number) if socket else None
        if channel_id in self.by_id:
            if _same(self.by_id[channel_id], fields):
                self._place(channel_id, slot, at)
                return
            other = unique(channel_id, self.by_id)
            self.note(
                row,
                "id-twice",
                f"id {channel_id!r} stands on two different channels; this one is called {other!r}",
                text,
            )
            channel_id = other
        self.channels.append({"id": channel_id, **fields})
        self.by_id[channel_id] = self.channels[-1]
        self.origins[channel_id] = Location(self.source, self.sheet, row)
        self.texts[channel_id] = text
        if not socket:  # a place that is no numbered socket is kept as it stands
            field = "socket" if cell("socket").strip() else "box"
            said = cell(field)
            if said.strip() and (table.own or not values.is_nothing(said, self.words)):
                self._keep(self.channels[-1], table.heading[table.fields.index(field)], said)
        pair, side = cell("pair"), cell("side")
        if pair.strip() or side.strip():
            self.pair_cells.append((channel_id, pair, side, table.own and bool(wanted_id)))
        elif not (table.own and wanted_id):
            self.guessed.append(channel_id)
        self._place(channel_id, slot, at)

    def _place(self, channel_id: str, slot: int | None, at: Slot | None) -> None:
        if slot is not None:
            self.highest = max(self.highest, slot)
            self.numbers.setdefault(channel_id, []).append(slot)
        if at:
            self.entries[Entry(channel_id, at)] = None
            if slot is not None:
                self.patches[Patch(at, Slot(LISTED, slot))] = None
        elif slot is not None:
            self.entries[Entry(channel_id, Slot(LISTED, slot))] = None

    def _pair_up(self) -> None:
        boxes = {entry.channel: entry.slot.port for entry in self.entries}
        pairing = Pairing(self.words, self.by_id, self.numbers, boxes, self.guessed, self.report)
        for channel_id, said, side_said, settled in self.pair_cells:
            if not pairing.from_cell(channel_id, said, side_said, settled):
                channel = self.by_id[channel_id]
                heading = self.layout["pair"]
                pairing.report(
                    channel_id,
                    "pair",
                    f"{channel['name']!r}: pair {said!r} is not understood; write L with 20, R with 19, L or R",
                )
                self._keep(channel, heading, said)
        pairing.from_notes()
        pairing.from_names()

    def _keep(self, channel: dict[str, Any], heading: str, text: str) -> None:
        """Keep a cell that was not understood among a channel's extras."""
        channel["extras"] = (*channel["extras"], (heading, text))
        self.unread = True
        if heading not in self.headings:
            self.headings.append(heading)

    def _report_doubles(self) -> None:
        by_number: dict[int, list[str]] = {}
        for name, slots in self.numbers.items():
            for slot in slots:
                by_number.setdefault(slot, []).append(name)
        for slot, names in by_number.items():
            if len(names) > 1:
                self.report(names[1], "number-twice", f"number {slot} stands on {self._named(names)}")
        by_socket: dict[Slot, dict[str, None]] = {}
        for name, at in self.entries:
            if at.port != LISTED:
                by_socket.setdefault(at, {})[name] = None
        for at, channels in by_socket.items():
            if len(channels) > 1:
                where = f"socket {self.ports[at.port].device} {at.number}".replace("  ", " ")
                self.report([*channels][1], "socket-twice", f"{where} stands on {self._named(channels)}")

    def _named(self, ids: Iterable[str]) -> str:
        return " and ".join(repr(self.by_id[name]["name"]) for name in ids)

    def _patch_spares(self) -> None:
        """A spare keeps its socket, unless a channel enters there: then the slot is live and has no name."""
        live = {at: name for name, at in reversed(self.entries)}
        for patch, (row, text) in self.spare_ways.items():
            if patch.source in live:
                name = self.by_id[live[patch.source]]["name"]
                self.note(
                    row,
                    "unnamed-live",
                    f"slot {patch.target.number} has no name but the socket of {name!r}; it is read as spare",
                    text,
                )
                self.reserved.append(Reserved(patch.target, f"socket {patch.source}"))
            else:
                self.patches[patch] = None

    def _name_shared_sockets(self) -> None:
        """Channels that share a socket enter at their own slots as well, or nobody could tell them apart."""
        sharing: dict[Slot, list[str]] = {}
        for name, at in self.entries:
            if at.port != LISTED:
                sharing.setdefault(at, []).append(name)
        for names in sharing.values():
            if len(names) > 1:
                self.entries |= {
                    Entry(name, Slot(LISTED, slot)): None
                    for name in names
                    for slot in self.numbers.get(name, ())
                }

    def reading(self, format_name: str) -> Reading:
        self._patch_spares()
        self._name_shared_sockets()
        self._pair_up()
        self._report_doubles()
        for channel in self.channels if self.unread else ():
            channel["extras"] = in_order(channel["extras"], self.headings)
        listed = [Port(id=LISTED, kind="block", size=self.highest)] if self.highest else []
        collecting = gc.isenabled()
        gc.disable()  # nothing here is garbage: collecting while 100 000 channels are made costs a third
        try:
            whole = ChannelMap(
                **self.about,
                headings=tuple(self.headings),
                channels=_channels.validate_python(tuple(self.channels)),
                entries=tuple(self.entries),
                ports=(*self.ports.values(), *listed),
                patches=tuple(self.patches),
                reserved=tuple(self.reserved),
            )
        finally:
            if collecting:
                gc.enable()
        return Reading(
            self.source,
            format_name,
            whole,
            tuple(self.ledger),
            self.layout,
            self.origins,
            tuple(self.problems),
        )


_RULE = re.compile(r"\s*([-=_*─━═#~.+|])(?:\1|[\s|+])+\s*")

_SECTION = re.compile(
    r"(?:stage[ -]?box|sub[ -]?box|sub[ -]?snake|box|rack|bühnenbox|boîtier|caja|cassetta|kast)\s*[:#]?\s*(?P<box>\S{1,12})\s*:?",
    re.IGNORECASE,
)

_TAPS: dict[str, Literal["before fader", "after fader"]] = {
    "before fader": "before fader", "pre": "before fader", "pre fader": "before fader", "pre-fader": "before fader",
    "after fader": "after fader", "post": "after fader", "post fader": "after fader", "post-fader": "after fader",
}  # fmt: skip


def _text(row: list[str]) -> str:
    return " | ".join(row).rstrip(" |")


def _is_date(year: int, month: int, day: int) -> bool:
    try:
        datetime.date(year, month, day)
    except ValueError:
        return False
    return True


def _same(had: dict[str, Any], fields: dict[str, Any]) -> bool:
    return {key: value for key, value in had.items() if key not in ("id", "pair")} == fields
