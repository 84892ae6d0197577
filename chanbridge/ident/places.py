"""What stands at each channel of a file and at each input of a recording, by the plan; and which code it has."""

from __future__ import annotations

from typing import NamedTuple

from chanbridge.errors import ReadError, unknown
from chanbridge.ident.codes import MOST_CODES, numbers
from chanbridge.model import Channel, ChannelMap, Port, Slot
from chanbridge.names import fold

SOCKETS, SLOTS = "sockets", "slots"
"""Ports that every plan has: the sockets of all boxes, one box after the other; the slots that a list is about."""

MOST_PLACES = 4096
"""Positions of a port beyond which no one records."""


class Occupant(NamedTuple):
    """A channel at a place, and the slot from which its signal comes: the place itself where nothing is before it."""

    channel: Channel
    source: Slot


class Place(NamedTuple):
    """One position of a port. `slot`: None in a list without numbers. `source`: where a signal at this place, planned
    or not, would come from. `occupants`: usually one; several meet there by the plan where there are more."""

    slot: Slot | None
    source: Slot
    occupants: tuple[Occupant, ...]

    @property
    def name(self) -> str:
        """The channel's name, those of several joined, "" for a spare."""
        return " + ".join(each.channel.name or each.channel.id for each in self.occupants)


def places(whole: ChannelMap, port: str | None) -> list[Place]:
    """The positions of a port in order, from the first.

    `port`: its id, `SOCKETS` or `SLOTS`; None for the slots of a list, its sockets where it has no slots, or its rows
    where it has neither. Raises ReadError where there is no such port.
    """
    listed = whole.listed_port()
    known = {fold(each.id): each.id for each in whole.ports}
    if port is None:
        if listed:
            return _of_port(whole, listed)
        if _boxes(whole):
            return _of_boxes(whole)
        return [_row(channel) for channel in whole.channels]
    if fold(port) in known:
        return _of_port(whole, known[fold(port)])
    if fold(port) == SOCKETS and _boxes(whole):
        return _of_boxes(whole)
    lists = [each for each in whole.ports if each.kind != "sockets"]
    if fold(port) == SLOTS and len(lists) > 1:
        raise ReadError(f"whose slots are meant? Say one of {', '.join(each.id for each in lists)}")
    if fold(port) == SLOTS and listed:
        return _of_port(whole, listed)
    there = [*dict.fromkeys([*(each.id for each in whole.ports), *([SOCKETS] if _boxes(whole) else [])])]
    if not there:
        raise ReadError(f"there is no port {port!r}: this list has neither slots nor sockets")
    raise ReadError(unknown("port", port, there))


def _row(channel: Channel) -> Place:
    source = Slot("", 1)._replace(port=f"\0{channel.id}")  # of a channel that stands nowhere: its own
    return Place(None, source, (Occupant(channel, source),))


def _boxes(whole: ChannelMap) -> list[Port]:
    return [port for port in whole.ports if port.kind == "sockets" and port.direction == "in"]


def _of_boxes(whole: ChannelMap) -> list[Place]:
    return [place for box in _boxes(whole) for place in _of_port(whole, box.id)]


def _of_port(whole: ChannelMap, port: str) -> list[Place]:
    rows: dict[int, list[Occupant]] = {}
    sources: dict[int, Slot] = {}
    for row in whole.sheet(port):
        here = Slot(port, row.number)
        rows.setdefault(row.number, [])
        sources.setdefault(row.number, row.entry or here)
        if row.channel:
            rows[row.number].append(Occupant(row.channel, row.entry or here))
    last = max(rows, default=0)
    if last > MOST_PLACES:
        raise ReadError(
            f"the port {port!r} has {last} positions; at most {MOST_PLACES} can be played or recorded"
        )
    return [
        Place(Slot(port, at), sources.get(at, Slot(port, at)), tuple(rows.get(at, ())))
        for at in range(1, last + 1)
    ]


class Coded(NamedTuple):
    """Which code stands for which source, and what enters there. A code means a socket, not a name: a plan that was
    changed between playing and reading still reads right."""

    codes: dict[Slot, int]
    channels: dict[int, tuple[Channel, ...]]


def coded(whole: ChannelMap, port: str | None) -> Coded:
    """Give every source a code by its position in a port; sources that do not stand there come after. Channels of
    one socket share its code. Raises ReadError where there are more than there are codes.
    """
    base = places(whole, port)
    entered: dict[Slot, list[Channel]] = {}
    for name, slot in whole.entries:
        if channel := whole.channel(name):
            entered.setdefault(slot, []).append(channel)
    after = sorted(entered, key=lambda slot: bool(whole.trace(slot).back))  # first where nothing is before
    if max(len(base), len(entered)) > MOST_CODES:
        raise ReadError(f"this plan has {max(len(base), len(entered))} sources, and there are {MOST_CODES} codes; take one box at a time")  # fmt: skip
    order = numbers()
    codes: dict[Slot, int] = {}
    for at, place in enumerate(base):
        codes.setdefault(place.source, order[at])
    free = (number for number in (*order[len(base) :], *order) if number not in {*codes.values()})
    for slot in (*(each.source for place in base for each in place.occupants), *after):
        if slot not in codes:
            codes[slot] = next(free)
    channels: dict[int, dict[str, Channel]] = {}
    for place in base:
        for each in place.occupants:
            channels.setdefault(codes[each.source], {})[each.channel.id] = each.channel
    for slot in after:
        channels.setdefault(codes[slot], {}).update({channel.id: channel for channel in entered[slot]})
    return Coded(codes, {code: tuple(inside.values()) for code, inside in channels.items()})


def place_text(place: Place) -> str:
    """Where a place is, for people: `slot 12` or `A 12`."""
    if place.slot is None:
        return ""
    return f"slot {place.slot.number}" if place.slot.port == SLOTS else str(place.slot)
