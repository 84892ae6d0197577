"""Channels, sockets and spares of one file, gathered row by row and made into a map at the end."""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Iterable
from itertools import repeat
from typing import Any, TypeVar

from pydantic import TypeAdapter

from chanbridge.errors import Location, Problem
from chanbridge.model import (
    LISTED,
    Channel,
    ChannelMap,
    Entry,
    Patch,
    Port,
    Reserved,
    Slot,
    channels_of,
    each,
)
from chanbridge.names import Vocabulary, fold, slug, unique
from chanbridge.sheets.columns import in_order
from chanbridge.sheets.fields import own_id
from chanbridge.sheets.ledger import Evidence, LedgerRow, Reading, Verdict
from chanbridge.sheets.pairs import Pairing
from chanbridge.sheets.values import Socket

_channels = TypeAdapter(tuple[Channel, ...])
_Place = TypeVar("_Place", Slot, int)
_WEIGHT: dict[str, int] = {"rejected": 3, "channel": 2, "spare": 1}


class Collector:
    """What the tables of one file say, before it is a map."""

    def __init__(self, source: str, words: Vocabulary, several: bool = False) -> None:
        self.source = source
        self.words = words
        self.several = several  # whether there are other sheets, which may hold the same channels
        self.sheet = ""
        self.channels: list[dict[str, Any] | Channel] = []
        self.at: dict[str, int] = {}  # id → its place among the channels
        self.numbers: dict[str, list[int]] = {}
        self.guess: list[str] = []  # ids of channels whose row does not settle what is their pair
        self.pair_cells: list[tuple[str, str, str, bool]] = []
        self.entries: dict[Entry, None] = {}
        self.patches: dict[Patch, None] = {}
        self.spare_ways: dict[Patch, tuple[int, str]] = {}
        self.reserved: list[Reserved] = []
        self.unread = False  # whether a cell that was not understood stands among the extras
        self.ledger: list[LedgerRow] = []
        self.origins: dict[str, Location] = {}
        self.texts: dict[tuple[str, int], str] = {}  # sheet and row → the row, once someone asks
        self.problems: list[Problem] = []
        self.layout: dict[str, str] = {}
        self.headings: list[str] = []
        self.often = Counter[str]()  # how often each of them stands there
        self.ports: dict[str, Port] = {}
        self.boxes: dict[str, str] = {}
        # Name and socket → the channel, for a workbook's other sheets.
        self.standing: dict[tuple[str, Slot], str] = {}
        self.how: list[str] = []
        self.evidence: list[Evidence] = []
        self.highest = 0
        self.about: dict[str, Any] = {}

    # The ledger and the problems

    def note(self, row: int, code: str, message: str, text: str = "", column: str = "") -> None:
        """Add a problem at a row of the sheet being read, quoting the row as it stood."""
        quoted = f" (row: {text})" if text else ""
        self.problems.append(Problem(Location(self.source, self.sheet, row, column), code, message + quoted))

    def report(self, channel_id: str, code: str, message: str) -> None:
        """Add a problem about a channel, quoting its row."""
        if not self.texts:
            self.texts = {(entry.sheet, entry.row): entry.text for entry in self.ledger}
        where = self.origins[channel_id]
        quoted = f"{message} (row: {self.texts[where.sheet, where.row or 0]})"
        self.problems.append(Problem(self.origins[channel_id], code, quoted))

    def enter(self, row: int, verdict: Verdict, text: str, reason: str = "", at: int | None = None) -> None:
        """Give a row its verdict; `at`: the place in the ledger of a row that another table has been through."""
        entry = LedgerRow(row, self.sheet, verdict, text, reason)
        if at is None:
            self.ledger.append(entry)
        elif _WEIGHT.get(verdict, 0) > _WEIGHT.get(self.ledger[at].verdict, 0):
            self.ledger[at] = entry

    def learn(self, text: str) -> None:
        """Take title, revision and date from a line above or beside a table."""
        revision = re.search(
            r"\b(?:revision|rev\.?|version|stand)[:\s]+([A-Z]|\d{1,3})\b(?!\.\s*\w|[-/:]\d)",
            text,
            re.IGNORECASE,
        )  # but no "Stand: 12.11.2026", no "Stand 12. November": those are dates
        if revision:
            self.about.setdefault("revision", revision[1])
        for pattern, order in (
            (r"\b(\d{4})-(\d{2})-(\d{2})\b", (1, 2, 3)),
            (r"\b(\d{1,2})\.(\d{1,2})\.(\d{4})\b", (3, 2, 1)),
        ):
            found = re.search(pattern, text)
            date = _date(*(int(found[at]) for at in order)) if found else None
            if date:
                self.about.setdefault("date", date)
        about = r"\s*(revision|rev|date|datum|version|stand|fecha|data|datum|page|seite)\b"
        if not self.about.get("title") and not re.match(about, text, re.IGNORECASE):
            self.about["title"] = re.sub(r"^(title|name|show|event)\s*:\s*", "", text, flags=re.IGNORECASE)

    def heading(self, heading: str, times: int = 1) -> None:
        """Remember the heading of an unknown column, as often as one row has it."""
        more = times - self.often[heading]
        if more > 0:
            self.headings += [heading] * more
            self.often[heading] = times

    # Sockets, slots, channels

    def port(self, box: str, own: bool) -> str:
        """The id of the port for a box's sockets, made when it is first named."""
        key = box if own else fold(box)
        if key not in self.boxes:
            taken = {*self.ports, LISTED} if box in self.ports or box == LISTED else self.ports
            port_id = unique(own_id(box) or "sockets", taken)
            self.boxes[key] = port_id
            self.ports[port_id] = Port(id=port_id, device=box, kind="sockets")
        return self.boxes[key]

    def slot(self, socket: Socket | None, own: bool) -> Slot | None:
        """The slot of a socket."""
        return Slot(self.port(socket.box, own), socket.number) if socket else None

    def spare(self, row: int, slot: int | None, at: Slot | None, remark: str, text: str) -> None:
        """A slot or socket without a channel."""
        if slot is None:
            if at:
                self.reserved.append(Reserved(at, remark))
            return
        self.highest = max(self.highest, slot)
        if at:
            self.spare_ways[Patch(at, Slot(LISTED, slot))] = (row, text)
        if remark:
            self.reserved.append(Reserved(Slot(LISTED, slot), remark))

    def channel(
        self, row: int, fields: dict[str, Any], wanted_id: str, box: str, slot: int | None, at: Slot | None
    ) -> str | None:  # fmt: skip
        """A channel with its slot and socket; returns its id, or None if it is one that was there already.

        That is one with the same id and content, or with the same name and socket on another sheet of the workbook.

        Without an id of its own it gets one made from box and name.
        """
        before = self.standing.get((fold(str(fields["name"])), at)) if at and self.several else None
        if before and self.origins[before].sheet != self.sheet:
            return None  # one sheet a recipient: the same channel, in another order
        channel_id = wanted_id or unique(slug(box, fields["name"]) or "channel", self.at)
        if channel_id in self.at:
            had = {key: value for key, value in self.fields(channel_id).items() if key not in ("id", "pair")}
            if had == fields:
                self.place(channel_id, slot, at)
                return None
            channel_id = unique(wanted_id, self.at)
            self.note(
                row,
                "id-twice",
                f"id {wanted_id!r} stands on two different channels; this one is called {channel_id!r}",
                next(entry.text for entry in reversed(self.ledger) if entry.row == row),
            )
        self.channels.append({"id": channel_id, **fields})
        self.at[channel_id] = len(self.channels) - 1
        self.origins[channel_id] = Location(self.source, self.sheet, row)
        if at and self.several:
            self.standing.setdefault((fold(str(fields["name"])), at), channel_id)
        self.place(channel_id, slot, at)
        return channel_id

    def channels_of(
        self,
        rows: list[int],
        columns: dict[str, list[Any]],
        ids: list[str],
        boxes: list[str],
        slots: list[int],
        sockets: list[Slot | None],
    ) -> None:
        """Channels of rows that follow each other, each with its fields, id, box, slot and socket; see `channel`."""
        wanted = {name for name in ids if name}
        if self.several or len(wanted) not in (0, len(ids)) or not self.at.keys().isdisjoint(wanted):
            made = channels_of({**columns, "id": ids})
            for row, one, *said in zip(rows, map(_said, made), ids, boxes, slots, sockets, strict=True):
                del one["id"]
                self.channel(row, one, *said)
            return
        if not wanted:
            taken = set(self.at)
            for at, (name, box) in enumerate(zip(columns["name"], boxes, strict=True)):
                ids[at] = unique(slug(box, name) or "channel", taken)
                taken.add(ids[at])
        many = len(ids)
        self.at.update(zip(ids, range(len(self.channels), len(self.channels) + many), strict=True))
        self.channels += channels_of({**columns, "id": ids})
        origins = each(Location, repeat(self.source, many), repeat(self.sheet, many), rows, repeat("", many))
        self.origins.update(zip(ids, origins, strict=True))
        self.highest = max(self.highest, *slots)
        self.numbers.update(zip(ids, map(list, zip(slots, strict=True)), strict=True))
        listed = each(Slot, repeat(LISTED, many), slots)
        entered = [at or slot for at, slot in zip(sockets, listed, strict=True)]
        self.entries |= dict.fromkeys(each(Entry, ids, entered))
        patches = each(Patch, sockets, listed)
        self.patches |= dict.fromkeys(
            patches if all(sockets) else [patch for patch in patches if patch.source]
        )

    def fields(self, channel_id: str) -> dict[str, Any]:
        """The fields of a channel, to be changed in place."""
        held = self.channels[self.at[channel_id]]
        if isinstance(held, Channel):
            held = self.channels[self.at[channel_id]] = _said(held)
        return held

    def name(self, channel_id: str) -> str:
        """What a channel is called."""
        held = self.channels[self.at[channel_id]]
        return held.name if isinstance(held, Channel) else str(held["name"])

    def place(self, channel_id: str, slot: int | None, at: Slot | None) -> None:
        """Let a channel enter at a socket, or at its slot where no socket is known."""
        if slot is not None:
            self.highest = max(self.highest, slot)
            self.numbers.setdefault(channel_id, []).append(slot)
        if at:
            self.entries[Entry(channel_id, at)] = None
            if slot is not None:
                self.patches[Patch(at, Slot(LISTED, slot))] = None
        elif slot is not None:
            self.entries[Entry(channel_id, Slot(LISTED, slot))] = None

    def keep(self, channel: dict[str, Any], heading: str, text: str) -> None:
        """Keep a cell that was not understood among a channel's extras."""
        channel["extras"] = (*channel["extras"], (heading, text))
        self.unread = True
        self.heading(heading)

    # The end

    def reading(self, format_name: str) -> Reading:
        """Everything as a map with its ledger."""
        if not self.channels and not self.highest and not self.reserved:
            self.problems.append(
                Problem(Location(self.source), "no-channels", "there is a list, but no channel in it")
            )
        self._patch_spares()
        sharing = _shared((at, name) for name, at in self.entries if at.port != LISTED)
        self._name_shared_sockets(sharing)
        self._pair_up()
        self._report_doubles(sharing)
        for channel in map(self.fields, self.at) if self.unread else ():
            channel["extras"] = in_order(channel["extras"], self.headings)
        listed = [Port(id=LISTED, kind="block", size=self.highest)] if self.highest else []
        whole = ChannelMap(
            **self.about,
            headings=tuple(self.headings),
            channels=self._valid(),
            entries=tuple(self.entries),
            ports=(*self.ports.values(), *listed),
            patches=tuple(self.patches),
            reserved=tuple(self.reserved),
        )
        return Reading(
            self.source,
            format_name,
            whole,
            tuple(self.ledger),
            self.layout,
            self.origins,
            tuple(self.problems),
            tuple(dict.fromkeys(self.how)),
            tuple(self.evidence),
        )

    def _valid(self) -> tuple[Channel, ...]:
        looked_into = iter(_channels.validate_python([one for one in self.channels if isinstance(one, dict)]))
        return tuple(next(looked_into) if isinstance(one, dict) else one for one in self.channels)

    def _pair_up(self) -> None:
        if not self.pair_cells and not self.guess:
            return
        boxes = {entry.channel: entry.slot.port for entry in self.entries}
        pairing = Pairing(self.words, self.fields, self.numbers, boxes, self.guess, self.report)
        for channel_id, said, side_said, settled in self.pair_cells:
            if not pairing.from_cell(channel_id, said, side_said, settled):
                channel = self.fields(channel_id)
                self.report(
                    channel_id,
                    "pair",
                    f"{channel['name']!r}: pair {said!r} is not understood; write L with 20, R with 19, L or R",
                )
                self.keep(channel, self.layout["pair"], said)
        pairing.from_notes()
        pairing.from_names()

    def _patch_spares(self) -> None:
        """A spare keeps its socket, unless a channel enters there: then the slot is live and has no name."""
        live = {at: name for name, at in reversed(self.entries)}
        for patch, (row, text) in self.spare_ways.items():
            if patch.source in live:
                name = self.name(live[patch.source])
                self.note(
                    row,
                    "unnamed-live",
                    f"slot {patch.target.number} has no name but the socket of {name!r}; it is read as spare",
                    text,
                )
                self.reserved.append(Reserved(patch.target, f"socket {patch.source}"))
            else:
                self.patches[patch] = None

    def _name_shared_sockets(self, sharing: list[tuple[Slot, list[str]]]) -> None:
        """Channels that share a socket enter at their own slots as well, or nobody could tell them apart."""
        for _, names in sharing:
            self.entries |= {
                Entry(name, Slot(LISTED, slot)): None for name in names for slot in self.numbers.get(name, ())
            }

    def _report_doubles(self, sharing: list[tuple[Slot, list[str]]]) -> None:
        numbers = ((slot, name) for name, slots in self.numbers.items() for slot in slots)
        for slot, names in _shared(numbers):
            self.report(names[1], "number-twice", f"number {slot} stands on {self._named(names)}")
        for at, names in sharing:
            where = f"socket {self.ports[at.port].device} {at.number}".replace("  ", " ")
            self.report(names[1], "socket-twice", f"{where} stands on {self._named(names)}")

    def _named(self, ids: Iterable[str]) -> str:
        return " and ".join(repr(self.name(name)) for name in ids)


def _shared(pairs: Iterable[tuple[_Place, str]]) -> list[tuple[_Place, list[str]]]:
    """Places that more than one channel is paired with, in their order, with the channels."""
    known = list(pairs)
    if len({place for place, _ in known}) == len(known):
        return []
    often = {place for place, times in Counter(place for place, _ in known).items() if times > 1}
    names: dict[_Place, list[str]] = {}
    for place, name in known:
        if place in often:
            names.setdefault(place, []).append(name)
    return list(names.items())


_USUAL = Channel(id="nobody").__dict__


def _said(channel: Channel) -> dict[str, Any]:
    """The fields of a channel that are not as usual."""
    always = ("id", "name", "extras")
    return {
        name: value for name, value in channel.__dict__.items() if name in always or value != _USUAL[name]
    }


def _date(year: int, month: int, day: int) -> datetime.date | None:
    try:
        return datetime.date(year, month, day)
    except ValueError:  # the 30th of February is some other number
        return None
