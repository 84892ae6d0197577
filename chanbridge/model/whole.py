"""The neutral channel map, and what is asked of it."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import repeat
from operator import itemgetter
from typing import Annotated, Self, TypeVar

from pydantic import Field, model_validator

from chanbridge.model.parts import (
    MOST_SLOTS,
    Channel,
    Entry,
    Frozen,
    Line,
    Made,
    Patch,
    Port,
    Reserved,
    Row,
    Slot,
    Trace,
    each,
)  # fmt: skip

_Value = TypeVar("_Value")
_PORT, _NUMBER = itemgetter(0), itemgetter(1)


class _Index:
    """What is asked of a map again and again, worked out once."""

    def __init__(self, whole: ChannelMap) -> None:
        self.channels = {channel.id: channel for channel in whole.channels}
        self.ports = {port.id: port for port in whole.ports}
        self.sources = _grouped((target, source) for source, target in whole.patches)
        self.targets = _grouped(whole.patches)
        self.entered = _grouped((slot, channel) for channel, slot in whole.entries)
        self.reserved = dict(reversed(whole.reserved))
        self.used: dict[str, set[int]] = {}
        for port, number in (*self.sources, *self.targets, *self.entered, *self.reserved):
            if port in self.used:
                self.used[port].add(number)
            else:
                self.used[port] = {number}


def _grouped(pairs: Iterable[tuple[Slot, _Value]]) -> dict[Slot, list[_Value]]:
    """Slot → everything that it is paired with, in order."""
    out: dict[Slot, list[_Value]] = {}
    for slot, value in pairs:
        if slot in out:
            out[slot].append(value)
        else:
            out[slot] = [value]
    return out


# The kinds of port that a list of channels is usually about, the likeliest first.
_LISTED = ("feed", "desk", "recorder", "mixers", "block", "outputs")


class ChannelMap(Frozen):
    """Channels, the ports they stand in and the patches between them. `rate_hz` is the show's rate in Hz."""

    title: str = ""
    revision: str = ""
    date: datetime.date | None = None
    rate_hz: Annotated[int, Field(gt=0)] | None = None
    headings: tuple[str, ...] = ()
    channels: tuple[Channel, ...] = ()
    entries: tuple[Annotated[Entry, Made()], ...] = ()
    ports: tuple[Port, ...] = ()
    patches: tuple[Annotated[Patch, Made()], ...] = ()
    reserved: tuple[Annotated[Reserved, Made()], ...] = ()

    @model_validator(mode="after")
    def _meaningful(self) -> Self:
        ports = {port.id for port in self.ports}
        channels = {channel.id for channel in self.channels}
        if len(ports) < len(self.ports):
            raise ValueError(f"two ports have the id {_twice(port.id for port in self.ports)!r}")
        if len(channels) < len(self.channels):
            raise ValueError(f"two channels have the id {_twice(item.id for item in self.channels)!r}")
        named, entered = zip(*self.entries, strict=True) if self.entries else ((), ())
        sources, targets = zip(*self.patches, strict=True) if self.patches else ((), ())
        slots = (*entered, *sources, *targets, *(slot for slot, _ in self.reserved))
        numbers = {*map(_NUMBER, slots)}
        if numbers and not 1 <= min(numbers) <= max(numbers) <= MOST_SLOTS:
            odd = next(slot for slot in slots if not 1 <= slot[1] <= MOST_SLOTS)
            raise ValueError(f"{odd[0]!r} has no slot {odd[1]}; slots count from 1 to {MOST_SLOTS}")
        if channels.issuperset(named) and ports.issuperset(map(_PORT, slots)):
            return self
        for channel, slot in self.entries:
            if channel not in channels:
                raise ValueError(f"an entry names the channel {channel!r}, which does not exist")
            if slot[0] not in ports:
                raise ValueError(f"channel {channel!r} enters at the port {slot[0]!r}, which does not exist")
        for source, target in self.patches:
            missing = source[0] if source[0] not in ports else target[0]
            if missing not in ports:
                raise ValueError(f"a patch names the port {missing!r}, which does not exist")
        for slot, _ in self.reserved:
            if slot[0] not in ports:
                raise ValueError(f"a remark names the port {slot[0]!r}, which does not exist")
        return self

    @cached_property
    def _index(self) -> _Index:
        return _Index(self)

    def channel(self, channel_id: str) -> Channel | None:
        """The channel with this id, or None."""
        return self._index.channels.get(channel_id)

    def port(self, port_id: str) -> Port:
        """The port with this id; KeyError where there is none."""
        return self._index.ports[port_id]

    def occupants(self, slot: Slot) -> tuple[Channel, ...]:
        """Every channel that stands in a slot, the nearest source first; more than one is a fault."""
        return tuple(channel for channel, _ in self._arrivals(slot))

    def occupant(self, slot: Slot) -> Channel | None:
        """The channel that stands in a slot, or None; the first of `occupants` where several meet."""
        return next(iter(self.occupants(slot)), None)

    def trace(self, slot: Slot) -> Trace:
        """Where a slot's signal comes from and everywhere it goes, through every patch."""
        return Trace(_reach(slot, self._index.sources), _reach(slot, self._index.targets))

    def sheet(self, port_id: str) -> tuple[Row, ...]:
        """A port as lines in slot order: each slot up to its size, and any used one past its end."""
        return tuple(Row(*row) for row in self._rows(port_id))

    def _rows(self, port_id: str) -> Iterator[tuple[int, Channel | None, Slot | None, str]]:
        index = self._index
        sources, entered, channels = index.sources, index.entered, index.channels
        for number in sorted({*range(1, self.port(port_id).size + 1), *index.used.get(port_id, ())}):
            slot = Slot(port_id, number)
            way = sources.get(slot, ())
            if len(way) == 1 and slot not in entered and way[0] not in sources:
                names = entered.get(way[0], ())  # the common slot: one patch, straight from a socket
                if len(names) == 1:
                    yield number, channels[names[0]], way[0], ""
                    continue
            arrivals = self._arrivals(slot)
            for channel, entry in arrivals:
                yield number, channel, entry, ""
            if not arrivals:
                back = (slot, *self.trace(slot).back)
                text = next((index.reserved[at] for at in back if at in index.reserved), "")
                yield number, None, back[-1] if len(back) > 1 else None, text

    def lines(self, port_id: str | None) -> list[Line]:
        """A port in slot order, then the channels and remarks that do not stand in it; nothing is left out.

        Without a port: the channels in their order, without numbers.
        """
        if port_id is not None and self._is_plain(port_id):
            devices = {port.id: port.device for port in self.ports}
            sockets = [slot for _, slot in self.entries]
            boxes, numbers = map(devices.__getitem__, map(_PORT, sockets)), map(_NUMBER, sockets)
            return each(
                Line, range(1, len(sockets) + 1), self.channels, boxes, numbers, repeat("", len(sockets))
            )
        out: list[Line] = []
        shown: set[Slot] = set()
        devices = {port.id: port.device for port in self.ports if port.kind == "sockets"}
        rows = list(self._rows(port_id)) if port_id is not None else []
        for number, channel, entry, text in rows:
            if entry is not None and entry[0] in devices:
                out.append(Line(number, channel, devices[entry[0]], entry[1], text))
            else:
                out.append(Line(number, channel, "", None, text))
            if channel is None and entry:
                shown.update(self.trace(Slot(port_id or "", number)).back)
        listed = {channel.id for _, channel, _, _ in rows if channel}
        if len(listed) < len(self.channels):
            entered = dict(reversed(self.entries))
            for channel in self.channels:
                if channel.id not in listed:
                    out.append(Line(None, channel, *self._socket(entered.get(channel.id)), ""))
        for slot, text in self.reserved:
            if slot.port != port_id and slot not in shown and self.port(slot.port).kind == "sockets":
                out.append(Line(None, None, *self._socket(slot), text))
        return out

    def _is_plain(self, port_id: str) -> bool:
        """Whether every channel stands at a socket of its own, patched to its own slot of the port, one after the other."""
        kinds = {port.id: port.kind for port in self.ports}
        size = next(port.size for port in self.ports if port.id == port_id)
        if self.reserved or kinds[port_id] == "sockets" or not self.entries:
            return False
        if not len(self.channels) == len(self.entries) == len(self.patches) == size:
            return False
        named, sockets = zip(*self.entries, strict=True)
        sources, targets = zip(*self.patches, strict=True)
        return (
            sockets == sources
            and len({*sockets}) == size
            and all(kinds[port] == "sockets" for port in {*map(_PORT, sockets)})
            and {*map(_PORT, targets)} == {port_id}
            and list(map(_NUMBER, targets)) == list(range(1, size + 1))
            and [channel.id for channel in self.channels] == list(named)
        )

    def _socket(self, slot: Slot | None) -> tuple[str, int | None]:
        if slot is None or self.port(slot.port).kind != "sockets":
            return "", None
        return self.port(slot.port).device, slot.number

    def listed_port(self) -> str | None:
        """The port that a plain list of this map is about: the end of its patches, or None if unclear.

        That is the one port, other than a box's sockets, that no patch leaves; among several the
        likeliest kind (feed, desk, recorder, mixers, block, outputs) if only one is of that kind.
        """
        left = {source.port for source, _ in self.patches}
        ends = [port for port in self.ports if port.kind != "sockets" and port.id not in left]
        for kind in _LISTED:
            of_kind = [port.id for port in ends if port.kind == kind]
            if of_kind:
                return of_kind[0] if len(of_kind) == 1 else None
        return None

    def _arrivals(self, slot: Slot) -> list[tuple[Channel, Slot]]:
        index = self._index
        if slot not in index.sources:  # the common case: nothing upstream
            return [(index.channels[name], slot) for name in index.entered.get(slot, ())]
        way = (slot, *_reach(slot, index.sources))
        places: dict[str, list[int]] = {}  # channel → where on the way it enters, nearest first
        for step, at in enumerate(way):
            for name in index.entered.get(at, ()):
                places.setdefault(name, []).append(step)

        def overruled(name: str) -> bool:
            """Whether another channel of the same socket is the one that is named nearer to this slot."""
            return any(
                other[0] < places[name][0] and not set(places[name]).isdisjoint(other)
                for other in places.values()
            )

        return [
            (index.channels[name], way[steps[-1]])
            for name, steps in places.items()
            if len(places) == 1 or not overruled(name)
        ]


def _reach(start: Slot, steps: Mapping[Slot, Sequence[Slot]]) -> tuple[Slot, ...]:
    seen = {start: None}
    queue = [start]
    for slot in queue:  # the queue grows while it is walked; `seen` ends a loop of patches
        for following in steps.get(slot, ()):
            if following not in seen:
                seen[following] = None
                queue.append(following)
    return tuple(queue[1:])


def _twice(names: Iterable[str]) -> str:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            return name
        seen.add(name)
    raise ValueError("no name occurs twice")
