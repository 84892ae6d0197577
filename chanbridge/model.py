"""The neutral channel map: channels, ports, and the patches between their slots.

A map may hold contradictions (two patches into one slot, a slot past the end of its port): a broken
sheet must be representable. Refused is only what would make a map meaningless: a patch, entry or
remark at a port that does not exist, a slot number below 1, two channels or two ports with one id.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import repeat
from typing import Annotated, Any, Literal, NamedTuple, Self, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    GetCoreSchemaHandler,
    PlainSerializer,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import core_schema

from chanbridge.mode import Mode

Kind = Literal[
    "mic", "di", "line", "wireless", "digital", "playback", "talkback", "ambience", "mix", "return", "unknown"
]
Side = Literal["left", "right", "mid", "side"]
Permission = Literal["allowed", "not allowed", "open"]
PortKind = Literal["sockets", "block", "feed", "desk", "recorder", "mixers", "outputs"]

MOST_SLOTS = 200_000
"""No port has more slots; a number above it is no slot."""

AUDIENCES = ("air", "room", "monitors", "record", "comms")

ModeField = Annotated[
    Mode,
    BeforeValidator(lambda value: Mode.parse(value) if isinstance(value, str) else value),
    PlainSerializer(str, return_type=str),
    WithJsonSchema({"type": "string", "examples": ["64@48000", "56@48000 varispeed"]}),
]


class _Made:
    """A named tuple that is one already is taken as it is; only plain tuples are looked into."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> core_schema.CoreSchema:
        whole = handler(source)
        return core_schema.json_or_python_schema(
            whole,
            core_schema.union_schema([core_schema.is_instance_schema(source), whole], mode="left_to_right"),
        )


class _Frozen(BaseModel):
    model_config = ConfigDict(
        frozen=True, extra="forbid", serialize_by_alias=True, validate_by_name=True, defer_build=True
    )

    def changed(self, **fields: Any) -> Self:
        """A validated copy with some fields replaced."""
        return type(self)(**{name: getattr(self, name) for name in type(self).model_fields} | fields)


class Pair(_Frozen):
    """The side that a channel is of a pair. `partner` is the other's id, or None while it is not known."""

    partner: Annotated[Annotated[str, Field(min_length=1)] | None, Field(alias="with")] = None
    side: Side


class Audience(_Frozen):
    """Who may hear a channel. Being carried to a place is not the same as being heard there."""

    air: Permission = "open"
    room: Permission = "open"
    monitors: Permission = "open"
    record: Permission = "open"
    comms: Permission = "open"


OPEN = Audience()
"""Nobody has said who may hear a channel; the default is this very object."""


class Extra(NamedTuple):
    """A cell of a column that the model has no field for."""

    heading: str
    text: str


class Channel(_Frozen):
    """One signal with its identity.

    `pad_db` and `gain_db` are in dB and finite. `needs_power`: whether the transducer or DI needs
    phantom to work; None where nobody said. `phantom` is what the sheet says of the supply; "optional"
    is not "off". `contents` are the ids of the channels in a mix, `tap` is where they are taken relative
    to their faders. `extras` are cells of unknown columns, in the order of the map's `headings`; an empty
    cell is there only before a filled one under the same heading.
    """

    id: Annotated[str, Field(min_length=1)]
    name: str = ""
    short: str = ""
    kind: Kind = "unknown"
    transducer: str = ""
    needs_power: bool | None = None
    stand: str = ""
    position: str = ""
    group: str = ""
    phantom: Literal["on", "off", "optional", "unknown"] = "unknown"
    polarity: Literal["normal", "reversed", "unknown"] = "unknown"
    pad_db: Annotated[float, Field(allow_inf_nan=False)] | None = None
    gain_db: Annotated[float, Field(allow_inf_nan=False)] | None = None
    gain_owner: str = ""
    pair: Pair | None = None
    audience: Audience = OPEN
    priority: Literal["must", "want", "spare"] = "must"
    contents: tuple[str, ...] = ()
    tap: Literal["before fader", "after fader"] | None = None
    notes: str = ""
    extras: tuple[Annotated[Extra, _Made()], ...] = ()

    def with_ids(self, ids: Mapping[str, str]) -> Channel:
        """This channel with its own id, its partner's and its contents' replaced where `ids` has another."""
        partner = self.pair.partner if self.pair else None
        named = (self.id, *self.contents, *([partner] if partner else []))
        if all(ids.get(name, name) == name for name in named):
            return self
        return self.changed(
            id=ids.get(self.id, self.id),
            contents=tuple(ids.get(name, name) for name in self.contents),
            pair=Pair(partner=ids.get(partner, partner), side=self.pair.side)
            if self.pair and partner
            else self.pair,
        )


def channels_of(columns: Mapping[str, Sequence[Any]]) -> list[Channel]:
    """Many channels from columns of values, field by field, that are known to be valid: they are not looked into again."""
    usual = Channel.model_construct(id="").__dict__
    names, said = tuple(columns), set(columns)
    make, put, out = Channel.__new__, object.__setattr__, []
    for row in zip(*columns.values(), strict=True):
        fields = usual.copy()
        fields.update(zip(names, row, strict=True))
        channel = make(Channel)
        put(channel, "__dict__", fields)
        put(channel, "__pydantic_fields_set__", said)
        put(channel, "__pydantic_extra__", None)
        put(channel, "__pydantic_private__", None)
        out.append(channel)
    return out


class Port(_Frozen):
    """Anything with numbered positions.

    `direction`: "in" runs from the stage towards the desks, "out" the other way. `first`: the block slot
    on which a box's first socket stands, from 1. `size`: number of slots, 0 where it is not known.
    `rate_hz`: sampling rate in Hz. `mode`: of an AES10 feed. `mirrors`: the port that this one backs up.
    """

    id: Annotated[str, Field(min_length=1)]
    device: str = ""
    name: str = ""
    direction: Literal["in", "out"] = "in"
    kind: PortKind = "block"
    first: Annotated[int, Field(ge=1)] = 1
    size: Annotated[int, Field(ge=0, le=MOST_SLOTS)] = 0
    rate_hz: Annotated[int, Field(gt=0)] | None = None
    mode: ModeField | None = None
    mirrors: str | None = None


_Tuple = TypeVar("_Tuple", bound=tuple[Any, ...])
_Value = TypeVar("_Value")


def each(kind: type[_Tuple], *columns: Iterable[Any]) -> list[_Tuple]:
    """Named tuples of one kind from their fields, column by column, all of one length: many at a time are made faster."""
    return list(map(tuple.__new__, repeat(kind), zip(*columns, strict=True)))


class Slot(NamedTuple):
    """One position in a port, counted from 1."""

    port: str
    number: Annotated[int, Field(ge=1, le=MOST_SLOTS)]

    def __str__(self) -> str:
        return f"{self.port} {self.number}"


class Patch(NamedTuple):
    """What stands in `source` is heard in `target`."""

    source: Slot
    target: Slot


class Entry(NamedTuple):
    """Where a channel (by id) comes into the system.

    Channels that share a socket have a second entry each, at the slot that carries the signal under their
    name; of two channels of one socket the one named nearer to a slot occupies it.
    """

    channel: str
    slot: Slot


class Reserved(NamedTuple):
    """A remark on a slot that carries no channel: why it is spare, what its wire is used for."""

    slot: Slot
    text: str


class Row(NamedTuple):
    """One line of a port's sheet.

    `entry` is the slot in which the line's signal came into the system, if it did; `text` a remark on a
    spare. A slot in which two channels meet has two lines.
    """

    number: int
    channel: Channel | None
    entry: Slot | None
    text: str


class Line(NamedTuple):
    """A channel or a spare as one line of a list.

    `number`: its slot in the listed port, None for what does not stand there. `box` and `socket`: where it
    enters, "" and None where that is not known. `text`: a remark on a spare.
    """

    number: int | None
    channel: Channel | None
    box: str
    socket: int | None
    text: str


class Trace(NamedTuple):
    """All slots reached from one slot through every patch, nearest first, the slot itself left out."""

    back: tuple[Slot, ...]
    forward: tuple[Slot, ...]


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


class ChannelMap(_Frozen):
    """Channels, the ports they stand in and the patches between them. `rate_hz` is the show's rate in Hz."""

    title: str = ""
    revision: str = ""
    date: datetime.date | None = None
    rate_hz: Annotated[int, Field(gt=0)] | None = None
    headings: tuple[str, ...] = ()
    channels: tuple[Channel, ...] = ()
    entries: tuple[Annotated[Entry, _Made()], ...] = ()
    ports: tuple[Port, ...] = ()
    patches: tuple[Annotated[Patch, _Made()], ...] = ()
    reserved: tuple[Annotated[Reserved, _Made()], ...] = ()

    @model_validator(mode="after")
    def _meaningful(self) -> Self:
        ports = {port.id for port in self.ports}
        channels = {channel.id for channel in self.channels}
        if len(ports) < len(self.ports):
            raise ValueError(f"two ports have the id {_twice(port.id for port in self.ports)!r}")
        if len(channels) < len(self.channels):
            raise ValueError(f"two channels have the id {_twice(item.id for item in self.channels)!r}")
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
            sockets = [slot.number for _, slot in self.entries]
            devices = {port.id: port.device for port in self.ports}
            boxes = [devices[slot.port] for _, slot in self.entries]
            return each(
                Line, range(1, len(sockets) + 1), self.channels, boxes, sockets, repeat("", len(sockets))
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
        sockets = [slot for _, slot in self.entries]
        return (
            len(self.channels) == len(sockets) == len(self.patches) == len(set(sockets)) == size
            and not self.reserved
            and all(kinds[port] == "sockets" for port, _ in sockets)
            and kinds[port_id] != "sockets"
            and [channel.id for channel in self.channels] == [channel for channel, _ in self.entries]
            and sockets == [source for source, _ in self.patches]
            and [target for _, target in self.patches]
            == each(Slot, repeat(port_id, len(sockets)), range(1, len(sockets) + 1))
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
